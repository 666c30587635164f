"""The committed files are the generator's own, small, and spoilt exactly where the truth says."""

from __future__ import annotations

import csv
import io
from collections import Counter
from pathlib import Path

import polars as pl
import pytest

from sample_exports.generator import write
from sample_exports.generator.simulate import SEED
from sample_exports.generator.styles import VISIT_STYLES

FOLDER = Path(__file__).parents[2] / "sample_exports"
Made = tuple[dict[str, bytes], list[write.Fault]]


@pytest.fixture(scope="module")
def made(shop: dict[str, pl.DataFrame]) -> Made:
    return write.rich_shop(shop, SEED)


def test_committed_files_are_what_the_generator_writes(made: Made) -> None:
    files, faults = made
    assert {path.name for path in FOLDER.glob("*.csv")} == set(files)
    for name, content in files.items():
        assert (FOLDER / name).read_bytes() == content, f"{name}: run python -m sample_exports.generator"
    assert (FOLDER / ".truth" / "faults.csv").read_bytes() == write.faults_csv(faults)


def test_files_are_small(made: Made) -> None:
    assert sum(map(len, made[0].values())) < 5e6


def test_about_two_in_a_hundred_visit_rows_are_bad(made: Made) -> None:
    files, faults = made
    rows = sum(len(_records(files, name)) for name in files if name.startswith("visits"))
    bad = sum(name.startswith("visits") and scope in {"row", "value"} for name, _, scope, _, _ in faults)
    assert 0.012 < bad / rows < 0.03


def test_every_kind_of_fault_occurs(made: Made) -> None:
    from sample_exports.generator.mess import KINDS

    kinds = Counter(kind for _, _, _, kind, _ in made[1])
    assert set(KINDS) | {"same_key", "repeat", "restated"} <= set(kinds)


def test_faults_stand_on_the_lines_that_the_truth_names(made: Made) -> None:
    files, faults = made
    for name, line, _, kind, column in faults:
        if not name.startswith("visits"):
            continue
        style = VISIT_STYLES[int(name[7:11])]
        text = files[name].decode(style.encoding)
        rest = "".join(text.splitlines(keepends=True)[line - 1 :])
        cells = next(csv.reader(io.StringIO(rest), delimiter=style.delimiter))
        cell = dict(zip(style.headers, cells, strict=False)).get(column, "")
        if kind.startswith("missing"):
            assert cell == ""
        elif kind == "far_future_date":
            assert "2062" in cell
        elif kind == "extra_cells":
            assert len(cells) == len(style.headers) + 2
        elif kind == "impossible_date":
            assert "32" in cell
        elif kind == "out_of_range":
            assert float(cell.replace(",", ".")) > 800
        else:
            assert len(cells) == len(style.headers)


def test_yearly_files_differ_in_dialect(made: Made) -> None:
    headers = {style.headers["outdoor_db_f"] for style in VISIT_STYLES.values()}
    assert len(headers) >= 5
    assert {style.delimiter for style in VISIT_STYLES.values()} == {",", ";"}
    assert len({style.encoding for style in VISIT_STYLES.values()}) == 3


def _records(files: dict[str, bytes], name: str) -> list[list[str]]:
    style = VISIT_STYLES[int(name[7:11])]
    return list(csv.reader(io.StringIO(files[name].decode(style.encoding)), delimiter=style.delimiter))
