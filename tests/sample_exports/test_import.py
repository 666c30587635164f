"""Every injected fault is found by the reading stages, under its own rule, and nothing else is."""

from __future__ import annotations

import csv
import datetime as dt
from collections import Counter
from pathlib import Path

import pytest

from pipeline.checks.check import check
from pipeline.ingest.mapping import map_table
from pipeline.ingest.parse import parse
from pipeline.ingest.read import read_table
from sample_exports.generator.simulate import AS_OF

FOLDER = Path(__file__).parents[2] / "sample_exports"
FOUND_AS = {
    "missing_visit_id": "required-missing",
    "missing_unit_id": "required-missing",
    "missing_date": "required-missing",
    "impossible_date": "not-a-date",
    "far_future_date": "visit-date-too-late",
    "out_of_range": "out-of-range",
    "not_a_number": "not-a-number",
    "no_reading": "not-a-number",
    "unknown_word": "unknown-word",
    "wet_over_dry": "return-wet-bulb-over-dry-bulb",
    "same_key": "conflicting-rows",
    "extra_cells": "too-many-cells",
}


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.csv")), ids=lambda path: path.name)
def test_findings_are_the_known_faults(path: Path) -> None:
    with (FOLDER / ".truth" / "faults.csv").open(newline="") as file:
        faults = [row for row in csv.DictReader(file) if row["file"] == path.name]
    known = {
        (int(row["line"]), FOUND_AS[row["kind"]], row["scope"]) for row in faults if row["scope"] in {"row", "value"}
    }
    raw = read_table(path, path.name)
    mapped = map_table(raw)
    checked = check(parse(raw, mapped, latest=AS_OF), as_of=AS_OF, today=dt.date(2026, 11, 25), raw=raw)
    found = set(checked.findings.select("source_line", "rule", "scope").iter_rows())
    found |= {(line, rule, "row") for line, rule in raw.malformed.select("source_line", "rule").iter_rows()}
    assert mapped.unmapped == ()
    assert found == known
    scopes = Counter(row["scope"] for row in faults)  # a repeat is stored once; a malformed record is no cell row
    assert len(checked.frame) == len(raw.cells) - scopes["row"] - scopes["repeat"] + len(raw.malformed)
