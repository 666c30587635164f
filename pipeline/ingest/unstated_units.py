"""Units that nobody wrote: temperatures in degC and pressures in bar or kPa, told by what the values can be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from pipeline.errors import cut
from pipeline.fields import Field, fields_for_file
from pipeline.ingest.evidence import Column
from pipeline.units import dimension_of, line_to

TELLING = ("return_db_f", "return_wb_f", "supply_db_f")
"""Temperatures whose ranges in degF and in degC hardly overlap: room air and supply air."""

ENOUGH = 8
"""Values below which nothing is concluded."""

FITS, FAILS = 0.9, 0.5
"""Share of values inside the ranges in degC from which, and in degF up to which, a file is taken to be in degC."""

PRESSURES: Mapping[str, tuple[tuple[float, str | None], ...]] = {
    "liquid_psig": ((5.0, "MPa"), (55.0, "bar"), (800.0, None), (6000.0, "kPa")),
    "suction_psig": ((1.6, "MPa"), (18.0, "bar"), (240.0, None), (2500.0, "kPa")),
}
"""Upper ends of what the median pressure of a running system is in each unit, None for psi: 0.3 to 1.6 MPa on the
suction and 0.9 to 4.8 MPa on the liquid side for every refrigerant of the contract (saturation at 0 and 60 degC)."""


@dataclass(frozen=True)
class Told:
    """The unit that the values of a field tell."""

    unit: str
    note: str


def units_by_values(table: str, columns: Mapping[str, Column]) -> dict[str, Told]:
    """Return the unit of each field without a written one whose values can only be in another than the field's own.

    Parameters
    ----------
    table : str
        Table of the file.
    columns : mapping
        Columns without a written unit, by field.
    """
    fields = fields_for_file(table)
    found: dict[str, Told] = {}
    if _celsius([(fields[name], columns[name]) for name in TELLING if name in columns]):
        for name, column in columns.items():
            if dimension_of(fields[name]) == "temperature":
                found[name] = _told(column, "degC")
    side = next((name for name in PRESSURES if name in columns and len(columns[name].numbers()) >= ENOUGH), None)
    unit = _pressure_unit(side, columns[side]) if side else None
    if unit:
        for name, column in columns.items():
            if fields[name].unit == "psig":
                found[name] = _told(column, unit)
    return found


def _told(column: Column, unit: str) -> Told:
    return Told(
        unit, f'column "{cut(column.header)}": no unit is written; the values can only be in {unit}, and are read so'
    )


def _celsius(telling: Sequence[tuple[Field, Column]]) -> bool:
    values = [(field, value) for field, column in telling for value in column.numbers()]
    if len(values) < ENOUGH:
        return False
    line = line_to(replace(telling[0][0], difference=False), "degC")
    own = sum(_inside(field, value) for field, value in values) / len(values)
    other = sum(_inside(field, value * line.slope + line.intercept) for field, value in values) / len(values)
    return own <= FAILS and other >= FITS


def _inside(field: Field, value: float) -> bool:
    low, high = field.bounds
    return low <= value <= high


def _pressure_unit(name: str, column: Column) -> str | None:
    middle = median(column.numbers())
    return next((unit for end, unit in PRESSURES[name] if 0.1 < middle <= end), None)
