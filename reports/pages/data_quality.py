"""Data quality: what became of every row, what to mend and how, and what the readings leave open."""

from __future__ import annotations

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
class DataQuality:
    """Everything the page shows."""

    imports: tuple[Row, ...]
    rejects: tuple[Row, ...]
    suspects: tuple[Row, ...]
    not_testable: tuple[Row, ...]
    corrections: tuple[Row, ...]
    technicians: tuple[TechnicianRow, ...]
    gate: tuple[Row, ...]
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
        expectations=int(gate["expectations"].sum()),
        expectations_met=int(gate["expectations_met"].sum()),
    )


def _rows(frame: pl.DataFrame) -> tuple[Row, ...]:
    return tuple(frame.iter_rows(named=True))


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
