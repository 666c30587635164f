"""The poor shop's notes say what the truth beside them says, and the files are the generator's own."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from pathlib import Path

import pytest

from sample_exports.generator import poor
from sample_exports.generator.hands import DISTRACTIONS, REMARKS
from sample_exports.generator.simulate import SEED

FOLDER = Path(__file__).parents[2] / "sample_exports"
Made = tuple[dict[str, bytes], dict[str, bytes]]


@pytest.fixture(scope="module")
def made() -> Made:
    return poor.poor_shop(SEED)


def _lines(content: bytes) -> dict[int, dict[str, str]]:
    """Return each record by its first physical line."""
    reader = csv.DictReader(io.StringIO(content.decode()))
    assert reader.fieldnames
    out, line = {}, 2
    for row in reader:
        out[line] = row
        line = reader.line_num + 1
    return out


def test_committed_files_are_what_the_generator_writes(made: Made) -> None:
    files, truth = made
    assert {p.name: p.read_bytes() for p in (FOLDER / ".notes_only_shop").iterdir()} == files
    assert all((FOLDER / ".truth" / name).read_bytes() == content for name, content in truth.items())


def test_there_are_no_reading_columns_and_no_unit_ids(made: Made) -> None:
    headers = {name: next(iter(_lines(content).values())).keys() for name, content in made[0].items()}
    assert list(headers["jobs.csv"]) == ["Date", "Customer", "Address", "Job", "Notes", "Total"]
    assert not any("unit" in column.lower() for columns in headers.values() for column in columns)


def test_what_the_truth_says_stands_in_the_note(made: Made) -> None:
    files, truth = made
    rows = {name: _lines(content) for name, content in files.items()}
    said = list(csv.DictReader(io.StringIO(truth["poor_notes.csv"].decode())))
    assert len(said) > 1200
    for entry in said:
        note = rows[entry["file"]][int(entry["line"])]["Notes"]
        if entry["unit"]:
            assert entry["unit"] + ":" in note
        if entry["field"] in {"cause", "refrigerant_added_oz"} or entry["value"] == "0.0":
            continue
        assert re.search(rf"(?<![\d.]){float(entry['value']):g}(?![\d.]*\d)", note), entry


def test_refrigerant_is_told_in_pounds_and_ounces(made: Made) -> None:
    files, truth = made
    rows = {name: _lines(content) for name, content in files.items()}
    for entry in csv.DictReader(io.StringIO(truth["poor_notes.csv"].decode())):
        if entry["field"] == "refrigerant_added_oz" and not entry["unit"]:
            note = rows[entry["file"]][int(entry["line"])]["Notes"]
            pounds = sum(int(n) for n in re.findall(r"(\d+) lb|(\d+)#", note) for n in n if n)
            ounces = sum(int(n) for n in re.findall(r"(\d+) oz", note))
            assert 16 * pounds + ounces == float(entry["value"])


def test_notes_come_from_several_hands_with_distractions(made: Made) -> None:
    notes = [row["Notes"] for row in _lines(made[0]["jobs.csv"]).values()]
    looks = Counter(
        kind
        for note in notes
        for kind, pattern in {
            "terse": r"cap \d",
            "wordy": r"Herm \d",
            "sloppy": r"herm \d.*uf",
            "none": r"done",
        }.items()
        if re.search(pattern, note)
    )
    assert min(looks.values()) > 10
    assert len(looks) == 4
    assert sum(any(d in note for d in DISTRACTIONS) for note in notes) > 40
    assert sum(any(r in note for r in REMARKS) for note in notes) > 80


def test_some_tickets_have_several_lines_and_all_lines_of_one_agree(made: Made) -> None:
    lines = list(_lines(made[0]["invoice_lines_2025.csv"]).values())
    tickets: dict[str, list[dict[str, str]]] = {}
    for line in lines:
        tickets.setdefault(line["Invoice #"], []).append(line)
    assert sum(len(group) > 1 for group in tickets.values()) > 30
    for group in tickets.values():
        assert len({(g["Date"], g["Address"], g["Job"], g["Notes"]) for g in group}) == 1
