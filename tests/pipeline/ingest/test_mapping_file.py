"""The mapping file: read, refused with a line, completed without touching what the user wrote."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import UsageError
from pipeline.ingest.mapping_file import (
    ColumnEntry,
    Entry,
    MappingFile,
    complete,
    dump_entry,
    entry_digest,
    literal_pattern,
    load,
    loads,
)

CONTRACT = """\
[files."jobs_*.csv"]
table = "visits"
date_format = "%m/%d/%Y"            # encoding, delimiter, decimal, header_row, date_format: each detected unless said
[files."jobs_*.csv".columns]
visit_id = "Ticket"                 # canonical field = the file's header
outdoor_db_f = { header = "Außentemp.", unit = "degC" }
[files."jobs_*.csv".values.visit_type]
"Spring PM" = "maintenance"
"""


def test_the_contracts_example_reads() -> None:
    entry = loads(CONTRACT).entries[0]
    assert entry == Entry(
        pattern="jobs_*.csv",
        table="visits",
        date_format="%m/%d/%Y",
        columns={"visit_id": ColumnEntry("Ticket"), "outdoor_db_f": ColumnEntry("Außentemp.", "degC")},
        values={"visit_type": {"Spring PM": "maintenance"}},
    )


@pytest.mark.parametrize(
    "unit", ["degC", "K", "kPa", "bar", "psia", "psig", "MFD", "g", "kg", "lb", "F", "nF", "microfarad"]
)
def test_the_units_the_contract_promises_are_known(unit: str) -> None:
    field = {"degC": "outdoor_db_f", "K": "outdoor_db_f", "g": "refrigerant_added_oz", "kg": "refrigerant_added_oz"}
    field |= {"lb": "refrigerant_added_oz", "MFD": "herm_uf", "F": "herm_uf", "nF": "herm_uf", "microfarad": "herm_uf"}
    name = field.get(unit, "suction_psig")
    assert (
        loads(f'[files."x".columns]\n{name} = {{ header = "h", unit = "{unit}" }}').entries[0].columns[name].unit
        == unit
    )


@pytest.mark.parametrize(
    ("broken", "line", "what"),
    [
        (CONTRACT.replace("visit_id", "visit_ix"), 5, "'visit_ix' is no field of a visits file; near it: visit_id"),
        (
            CONTRACT.replace("date_format", "dateformat", 1),
            3,
            "the key 'dateformat' is not known; near it: date_format",
        ),
        (CONTRACT.replace('"visits"', '"visit"'), 2, "table 'visit' is not one of visits"),
        (CONTRACT.replace('"degC"', '"psi"'), 6, "'psi' is no unit of temperature"),
        (
            CONTRACT.replace('"maintenance"', '"maintenence"'),
            8,
            "'maintenence' is no word of visit_type; near it: maintenance",
        ),
        (CONTRACT.replace("[files", "[filez", 1), 1, "the key 'filez' is not known"),
        (CONTRACT + "decimal = 1\n", 8, None),
        ('[files."a"]\ndecimal = ";"\n', 2, "decimal is"),
        ('[files."a"]\nheader_row = 0\n', 2, "header_row is"),
        ('[files."a"]\nheader_row = true\n', 2, "header_row is"),
        ('[files."a"]\ntable = "visits\n', 2, "not valid TOML"),
    ],
)
def test_a_mistake_is_one_sentence_with_its_line(broken: str, line: int, what: str | None) -> None:
    with pytest.raises(UsageError) as refused:
        loads(broken)
    assert refused.value.exit_status == 2
    assert "\n" not in refused.value.message
    if what:
        assert what in refused.value.message
        assert f"line {line}" in refused.value.message


def test_no_file_is_an_empty_mapping(tmp_path: object) -> None:
    from pathlib import Path

    assert load(Path(str(tmp_path)) / "mapping.toml") == MappingFile()


def test_a_file_is_met_by_name_then_pattern_then_header_line() -> None:
    known = MappingFile(
        (
            Entry("jobs_*.csv", table="visits"),
            Entry("jobs_7.csv", table="parts"),
            Entry("old.csv", table="units", header=("A", "B"), columns={"unit_id": ColumnEntry("A")}),
        )
    )
    assert getattr(known.entry_for("2024/jobs_7.csv"), "table", None) == "parts"
    assert getattr(known.entry_for("jobs_8.csv"), "table", None) == "visits"
    assert getattr(known.entry_for("new.csv", ("a", "B ")), "table", None) == "units"
    assert known.entry_for("new.csv", ("A", "C")) is None


def test_an_entry_without_its_header_line_needs_most_of_the_columns() -> None:
    known = MappingFile(
        (Entry("old.csv", columns={"visit_id": ColumnEntry("Ticket"), "unit_id": ColumnEntry("Unit")}),)
    )
    assert known.entry_for("new.csv", ("Ticket", "Unit", "Date")) is not None
    assert known.entry_for("new.csv", ("Ticket", "Unit", "Part", "Qty", "Price")) is None


def test_a_file_name_is_never_a_pattern() -> None:
    entry = Entry(literal_pattern("jobs [1].csv"), table="visits")
    known = MappingFile((entry,))
    assert known.entry_for("jobs [1].csv") == entry
    assert known.entry_for("jobs 1.csv") is None


def test_completing_keeps_every_byte_the_user_wrote() -> None:
    new = [
        Entry("jobs_*.csv", table="parts"),
        Entry("units.csv", table="units", columns={"unit_id": ColumnEntry("Unit #")}),
    ]
    text = complete(CONTRACT, new)
    assert text.startswith(CONTRACT)
    assert [entry.pattern for entry in loads(text).entries] == ["jobs_*.csv", "units.csv"]
    assert complete(text, new) == text


def test_the_digest_is_of_what_is_said_not_of_the_name() -> None:
    assert entry_digest(Entry("a.csv", table="visits")) == entry_digest(Entry("b.csv", table="visits"))
    assert entry_digest(Entry("a.csv", table="visits")) != entry_digest(Entry("a.csv", table="visits", decimal=","))


TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)


@settings(deadline=None)
@given(TEXT, TEXT, TEXT, st.lists(TEXT, max_size=3))
def test_what_is_written_reads_back(pattern: str, header: str, theirs: str, headers: list[str]) -> None:
    entry = Entry(
        pattern=pattern,
        table="visits",
        decimal=",",
        header_row=3,
        header=tuple(headers),
        columns={"visit_id": ColumnEntry(header), "suction_psig": ColumnEntry(header, "bar")},
        values={"cause": {theirs: "compressor"}},
    )
    assert loads(dump_entry(entry)) == MappingFile((entry,))
