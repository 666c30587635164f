"""Readings made from a state of the system, so that a test can say what it means by superheat and subcooling."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl

from pipeline.enrich.refrigerants import bubble_psia, dew_psia
from tests.builders import make_frame

ATMOSPHERE = 14.696


def reading(
    superheat_f: float | None = 10.0,
    subcooling_f: float | None = 10.0,
    *,
    refrigerant: str = "R-410A",
    evaporating_f: float = 40.0,
    condensing_f: float = 112.0,
    atmosphere: float = ATMOSPHERE,
    **changes: Any,
) -> dict[str, Any]:
    """Return one visit: 95 degF outdoors, 78/65 return air (target superheat 10), split 18.5, cooling."""
    row: dict[str, Any] = {
        "unit_id": "U1",
        "visit_id": "V1",
        "visit_date": dt.date(2024, 6, 1),
        "mode": "cooling",
        "outdoor_db_f": 95.0,
        "return_db_f": 78.0,
        "return_wb_f": 65.0,
        "supply_db_f": 59.5,
    }
    if superheat_f is not None:
        row["suction_psig"] = float(dew_psia(refrigerant, evaporating_f)) - atmosphere
        row["suction_line_f"] = evaporating_f + superheat_f
    if subcooling_f is not None:
        row["liquid_psig"] = float(bubble_psia(refrigerant, condensing_f)) - atmosphere
        row["liquid_line_f"] = condensing_f - subcooling_f
    return row | changes


def unit(**changes: Any) -> dict[str, Any]:
    """Return one unit: a 3-ton fixed-orifice split system on R-410A."""
    base = {
        "unit_id": "U1",
        "equipment": "split_ac",
        "refrigerant": "R-410A",
        "metering": "fixed_orifice",
        "nominal_tons": 3.0,
        "target_subcooling_f": None,
    }
    return base | changes


def frames(
    visits: list[dict[str, Any]] | dict[str, Any], units: list[dict[str, Any]] | dict[str, Any] | None = None
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return visits and units as frames with their registered types."""
    listed = visits if isinstance(visits, list) else [visits]
    owned = [unit()] if units is None else units if isinstance(units, list) else [units]
    told = pl.Series("from_notes", [visit.get("from_notes", []) for visit in listed], dtype=pl.List(pl.String))
    return make_frame("visits", listed).with_columns(told), make_frame("units", owned)
