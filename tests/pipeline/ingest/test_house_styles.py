"""The same visits in sixty house styles come in as one truth; every fault is refused at its line and column."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from pipeline.ingest.mapping import map_table
from pipeline.ingest.parse import parse
from pipeline.ingest.read import read_table
from tests.house_styles import FIELDS, KINDS, METRIC, Specimen, Style, styles, write

SLOPE = {"degF": 1.8, "difference": 1.8, "psig": 1 / 6.894757293168361, "oz": 1 / 28.349523125}


def close_enough(style: Style, name: str) -> float:
    """Return half the last written digit in the field's own unit: what the file itself lost."""
    if style.metric and name in KINDS:
        return 0.51 * 10 ** -METRIC[KINDS[name]][2] * SLOPE[KINDS[name]]
    return 1e-9


def read(made: Specimen, folder: Path) -> tuple[dict[str, str], object]:
    """Return the headers by field and the file parsed."""
    path = folder / "export.csv"
    path.write_text(made.text, "utf-8")
    raw = read_table(path, path.name)
    mapped = map_table(raw)
    return {name: use.header for name, use in mapped.columns.items()}, parse(raw, mapped, latest=dt.date(2024, 1, 1))


def test_the_zoo_is_as_large_as_promised() -> None:
    assert len({style.name for style in styles()}) >= 60


@pytest.mark.parametrize("style", styles(), ids=lambda style: style.name)
def test_truth_in_truth_out_and_every_fault_found(style: Style, tmp_path: Path) -> None:
    made = write(style)
    headers, out = read(made, tmp_path)
    assert set(headers) == set(FIELDS)
    frame, findings = out.frame, out.findings  # type: ignore[attr-defined]
    assert frame.height == len(made.truth)
    found = sorted(findings.select("source_line", "field", "value", "rule").rows())
    assert found == sorted(made.faults)
    spoiled = {(line, name) for line, name, _, _ in made.faults}
    for row, truth in zip(frame.iter_rows(named=True), made.truth, strict=True):
        for name in FIELDS:
            if (row["source_line"], name) in spoiled:
                assert row[name] is None
            elif isinstance(truth[name], float):
                assert row[name] == pytest.approx(truth[name], abs=close_enough(style, name), rel=1e-9), name
            else:
                assert row[name] == truth[name], name
