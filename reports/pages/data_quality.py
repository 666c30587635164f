"""Data quality: what became of every row, what to mend and how, and what the readings leave open."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.charts.bars import share
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


@dataclass(frozen=True)
class TechnicianRow:
    """How complete one technician's visits are, in percent of the visits."""

    technician: str | None
    visits: int
    capacitor_pct: float
    charge_pct: float
    testable_pct: float
    readings: int
    suspect_readings: int


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

CHARGE_COLUMNS = {
    "no outdoor temperature": "the outdoor temperature",
    "no wet bulb or humidity": "the wet bulb of the return air",
    "no superheat reading": "superheat",
    "no subcooling reading": "subcooling",
    "refrigerant not known": "the unit's refrigerant",
    "metering device not known": "the unit's metering device",
}
"""The column that a reason for not judging the charge asks for."""


@dataclass(frozen=True)
class DataQuality:
    """Everything the page shows."""

    imports: tuple[Row, ...]
    rejects: tuple[Row, ...]
    suspects: tuple[Row, ...]
    not_testable: tuple[Row, ...]
    corrections: tuple[Row, ...]
    technicians: tuple[TechnicianRow, ...]
    gate: tuple[Row, ...]
    notes: tuple[Row, ...]
    not_given: tuple[str, ...]
    named: Row
    units: tuple[Unsettled, ...]
    waiting: tuple[Row, ...]
    typing: Typing | None
    expectations: int
    expectations_met: int


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> DataQuality:
    """Return the page's context from the marts' frames."""
    gate = frames["data_quality_gate"]
    return DataQuality(
        imports=_rows(frames["data_quality_imports"]),
        rejects=_rows(frames["data_quality_rejects"]),
        suspects=_rows(frames["data_quality_suspects"]),
        not_testable=_rows(frames["data_quality_not_testable"]),
        corrections=_rows(frames["data_quality_corrections"]),
        technicians=tuple(_technician(row) for row in frames["data_quality_technicians"].iter_rows(named=True)),
        gate=_rows(gate),
        notes=_rows(frames["data_quality_notes"]),
        not_given=tuple(frames["data_quality_notes"]["why_not"].drop_nulls().unique().sort()),
        named=frames["data_quality_named"].row(0, named=True),
        units=tuple(_unsettled(row) for row in frames["data_quality_units"].iter_rows(named=True)),
        waiting=_rows(frames["data_quality_waiting"]),
        typing=_typing(frames["data_quality_typing"]),
        expectations=int(gate["expectations"].sum()),
        expectations_met=int(gate["expectations_met"].sum()),
    )


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
        charge_column=CHARGE_COLUMNS.get(row["charge_lacks"] or ""),
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


def _technician(row: Row) -> TechnicianRow:
    visits = row["visits"]
    return TechnicianRow(
        technician=row["technician"],
        visits=visits,
        capacitor_pct=share(row["visits_with_capacitor"], visits),
        charge_pct=share(row["visits_with_charge"], visits),
        testable_pct=share(row["visits_with_charge_testable"], visits),
        readings=row["readings"] or 0,
        suspect_readings=row["suspect_readings"] or 0,
    )
