"""Data quality: what became of every row, what to mend and how, and what the readings leave open."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.format import NOT_KNOWN, doubt, field_label, kept_together, number, reason_text, sentence_start, words
from reports.page import Page, Site

PAGE = Page(
    slug="data_quality",
    title="Data quality",
    order=40,
    queries={
        "data_quality_imports": (),
        "data_quality_rejects": (),
        "data_quality_suspects": (),
        "data_quality_not_testable": (),
        "data_quality_corrections": (),
        "data_quality_technicians": (),
        "data_quality_gate": (),
        "data_quality_notes": (),
        "data_quality_typing": (),
        "data_quality_named": (),
        "data_quality_units": (),
        "data_quality_waiting": (),
    },
)

Row = dict[str, Any]


KINDS: Mapping[str, str] = {
    "capacitors": "Capacitor read, of tune-ups",
    "air": "Outdoor, return and supply air",
    "gauges": "Both pressures and lines",
    "wet_bulb": "Wet bulb or humidity",
    "suspect": "A reading not believable",
}
"""Kinds of reading with their columns, in order; what each is counted of: pipeline.enrich.technicians."""

SURE = 0.01
"""A last digit is named where chance alone would favour one so strongly on this share of such tables (all technicians
of a table together)."""


@dataclass(frozen=True)
class TechnicianRow:
    """How complete and how believable one technician's readings are: share and range per kind of ``KINDS``."""

    technician: str
    visits: int
    cells: tuple[tuple[str, str], ...]
    readings: int
    suspect_readings: int
    digit: int | None


@dataclass(frozen=True)
class Typing:
    """What typed columns would have told on the visits of the last 24 months, counted."""

    visits: int
    herm_blank: int
    fan_blank: int
    herm_told: int
    fan_told: int
    charge_column: str | None
    charge_visits: int
    charge_alone: bool


@dataclass(frozen=True)
class Unsettled:
    """An id that may stand for more than one unit: why, what tells them apart, and what waits until it is told."""

    unit_id: str
    address: str | None
    why: str
    mend: str
    visits: int
    first_on: dt.date
    last_on: dt.date
    readings: int


RULES: Mapping[str, str] = {
    "required-missing": "A cell that is needed is empty",
    "conflicting-rows": "Two rows of one visit differ",
    "return-wet-bulb-over-dry-bulb": "Wet bulb over dry bulb",
}
"""What is wrong, where the name of the rule does not say it well."""

UNSETTLED = {
    "several": (
        "{units} units are named at this address, and these visits say of none which it was",
        "Write the unit's id, serial number or location (upstairs, rear) on the visits, spelt as in the register.",
    ),
    "older": (
        "The one unit named here was installed after some of these visits",
        "Give the former unit a row of its own in the register, with the day it was retired, and its id on its visits.",
    ),
    "together": (
        "One ticket tells of this address and of the unit named here on rows of their own",
        "Write the id, serial number or location of its unit on every row of the ticket.",
    ),
    "notes": (
        "The notes tell of {units} units, the rows of one",
        "Write a row per unit, with a column that says which (its id, serial number or location).",
    ),
}
"""Why an id is not one unit beyond doubt, and what to type so that it is (sql/marts/units_not_told_apart.sql)."""


@dataclass(frozen=True)
class Shows:
    """Whether a column tells rows apart; one that says the same in each is left out."""

    mended: bool
    note_kinds: bool
    note_values: bool
    of_no_unit: bool


@dataclass(frozen=True)
class DataQuality:
    """Everything the page shows."""

    imports: tuple[Row, ...]
    rejects: tuple[Row, ...]
    suspects: tuple[Row, ...]
    not_testable: tuple[Row, ...]
    corrections: tuple[Row, ...]
    technicians: tuple[TechnicianRow, ...]
    kinds: tuple[str, ...]
    digits: bool
    gate: tuple[Row, ...]
    notes: tuple[Row, ...]
    not_given: tuple[str, ...]
    named: Row
    units: tuple[Unsettled, ...]
    waiting: tuple[Row, ...]
    typing: Typing | None
    expectations: int
    expectations_met: int
    shows: Shows


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> DataQuality:
    """Return the page's context from the marts' frames."""
    gate, notes, imports = (frames[f"data_quality_{name}"] for name in ("gate", "notes", "imports"))
    technicians = _technicians(frames["data_quality_technicians"])
    rejects = _of_one_cause(frames["data_quality_rejects"])
    return DataQuality(
        imports=_rows(imports),
        rejects=rejects,
        suspects=tuple(_suspect(row) for row in frames["data_quality_suspects"].iter_rows(named=True)),
        not_testable=_rows(frames["data_quality_not_testable"]),
        corrections=_rows(frames["data_quality_corrections"]),
        technicians=technicians,
        kinds=tuple(KINDS.values()),
        digits=any(row.digit is not None for row in technicians),
        gate=_rows(gate),
        notes=_rows(notes),
        not_given=tuple(notes["why_not"].drop_nulls().unique().sort()),
        named=frames["data_quality_named"].row(0, named=True),
        units=tuple(_unsettled(row) for row in frames["data_quality_units"].iter_rows(named=True)),
        waiting=_rows(frames["data_quality_waiting"]),
        typing=_typing(frames["data_quality_typing"]),
        expectations=int(gate["expectations"].sum()),
        expectations_met=int(gate["expectations_met"].sum()),
        shows=Shows(
            mended=any(row["found"] != row["still_open"] for row in rejects),
            note_kinds=notes["kind"].n_unique() > 1,
            note_values=notes["value"].count() + notes["value_text"].count() > 0,
            of_no_unit=bool(notes["not_attributed"].sum()),
        ),
    )


def _of_one_cause(frame: pl.DataFrame) -> tuple[Row, ...]:
    """Return the rules with their fields; a cause that refused two values of a row is one line with both names."""
    cause = ["scope", "rule", "example_file", "example_line", "found", "still_open", "advice"]
    lines: dict[tuple[Any, ...], Row] = {}
    for row in frame.iter_rows(named=True):
        line = lines.setdefault(tuple(row[name] for name in cause), {**row, "fields": []})
        line["fields"].append(field_label(row["field"]) if row["field"] else "")
    return tuple(
        {
            **row,
            "what": RULES.get(row["rule"]) or sentence_start(words(row["rule"].replace("-", " "))),
            "of": " and ".join(field for field in row["fields"] if field),
            "message": kept_together(reason_text(row["example_message"] or "")),
        }
        for row in lines.values()
    )


def _suspect(row: Row) -> Row:
    named = (field_label(field) for field in row["fields"].split("; "))
    return {**row, "said": sentence_start(doubt(row["because"])), "of": ", ".join(named)}


def _rows(frame: pl.DataFrame) -> tuple[Row, ...]:
    return tuple(frame.iter_rows(named=True))


def _typing(frame: pl.DataFrame) -> Typing | None:
    row = frame.row(0, named=True) if frame.height else None
    if row is None or not row["visits"] or not row["herm_blank"] + row["fan_blank"]:
        return None
    return Typing(
        visits=row["visits"],
        herm_blank=row["herm_blank"],
        fan_blank=row["fan_blank"],
        herm_told=row["herm_told"],
        fan_told=row["fan_told"],
        charge_column=row["charge_lacks"],
        charge_visits=row["charge_lacks_visits"],
        charge_alone=row["charge_lacks_alone"],
    )


def _unsettled(row: Row) -> Unsettled:
    why, mend = UNSETTLED[row["because"]]
    return Unsettled(
        unit_id=row["unit_id"],
        address=row["address"],
        why=why.format(units=row["units"]),
        mend=mend,
        visits=row["visits"],
        first_on=row["first_on"],
        last_on=row["last_on"],
        readings=row["readings"],
    )


def _technicians(frame: pl.DataFrame) -> tuple[TechnicianRow, ...]:
    several = frame["technician"].n_unique()
    made = []
    for (technician,), rows in frame.partition_by("technician", as_dict=True, maintain_order=True).items():
        by_kind = {row["kind"]: row for row in rows.iter_rows(named=True)}
        first = rows.row(0, named=True)
        p_value = first["digit_p_value"]
        made.append(
            TechnicianRow(
                technician=str(technician),
                visits=first["visits"],
                cells=tuple(_share_of(by_kind.get(kind)) for kind in KINDS),
                readings=first["readings"],
                suspect_readings=first["suspect_readings"],
                digit=first["favourite_digit"] if p_value is not None and p_value * several < SURE else None,
            )
        )
    return tuple(made)


def _share_of(row: Row | None) -> tuple[str, str]:
    """Return ``82 % of 60`` and ``73 to 89``; a dash where there was nothing to read."""
    if row is None or row["share"] is None:
        return NOT_KNOWN, ""
    percent, low, high = (number(100 * row[name]) for name in ("share", "share_low", "share_high"))
    return f"{percent}\u00a0% of {number(row['of'])}", f"{low} to {high}"
