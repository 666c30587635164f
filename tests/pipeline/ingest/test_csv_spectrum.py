"""The reader against csv-spectrum 2.0.0, a published set of CSV edge cases with their answers as JSON."""

from __future__ import annotations

import json
import shutil
import subprocess
import tarfile
from pathlib import Path

import pytest

from pipeline.ingest.read import read_table

PACKAGE = "csv-spectrum@2.0.0"
WRONG_ANSWER = "location_coordinates"
"""Its JSON gives another telephone number than its CSV (1234567890 for 2095257564) and no list of rows."""
CASES = (
    "comma_in_quotes",
    "empty",
    "empty_crlf",
    "escaped_quotes",
    "json",
    "newlines",
    "newlines_crlf",
    "quotes_and_newlines",
    "simple",
    "simple_crlf",
    "utf8",
)


@pytest.fixture(scope="module")
def spectrum(tmp_path_factory: pytest.TempPathFactory) -> Path:
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("npm is not installed, so csv-spectrum cannot be fetched")
    folder = tmp_path_factory.mktemp("csv_spectrum")
    try:
        done = subprocess.run([npm, "pack", PACKAGE], cwd=folder, capture_output=True, timeout=60, check=False)
    except subprocess.TimeoutExpired:
        pytest.skip(f"{PACKAGE} could not be fetched within a minute")
    packed = list(folder.glob("csv-spectrum-*.tgz"))
    if done.returncode or not packed:
        pytest.skip(f"{PACKAGE} could not be fetched by name")
    with tarfile.open(packed[0]) as archive:
        archive.extractall(folder, filter="data")
    return folder / "package"


def _as_read(path: Path) -> list[dict[str, str]]:
    table = read_table(path, path.name)
    assert table.skipped.is_empty()
    assert table.malformed.is_empty()
    rows = table.cells.drop("source_line").rows()
    return [dict(zip(table.header, row, strict=True)) for row in rows]


@pytest.mark.parametrize("case", CASES)
def test_the_published_answer_comes_out(case: str, spectrum: Path) -> None:
    expected = json.loads((spectrum / "json" / f"{case}.json").read_text("utf-8"))
    assert _as_read(spectrum / "csvs" / f"{case}.csv") == expected


def test_the_twelfth_case_has_a_wrong_answer_file(spectrum: Path) -> None:
    assert {path.stem for path in (spectrum / "csvs").glob("*.csv")} == {*CASES, WRONG_ANSWER}
    (row,) = _as_read(spectrum / "csvs" / f"{WRONG_ANSWER}.csv")
    answer = json.loads((spectrum / "json" / f"{WRONG_ANSWER}.json").read_text("utf-8"))
    differing = {key for key in row if row[key] != answer[key]}
    assert differing == {"Contact Phone Number"}
    assert (spectrum / "csvs" / f"{WRONG_ANSWER}.csv").read_text("utf-8").count(row["Contact Phone Number"]) == 1
