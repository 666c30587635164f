"""Units that nobody wrote: temperatures in degC and pressures in bar or kPa, told by what the values can be."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
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


METRIC = frozenset(("bar", "kPa", "MPa", "bar absolute", "kPa absolute", "MPa absolute", "kgf/cm2"))
"""Units of pressure beside which temperatures without a unit are in degC if they can be."""

COOL: Mapping[str, float] = {"outdoor_db_f": 50.0, "liquid_line_f": 65.0, "suction_line_f": 35.0}
"""Upper ends of the medians in degC of a system that cools; in degF they would be a winter's day and frozen lines
(common practice, no source)."""


@dataclass(frozen=True)
class Told:
    """The unit that the values of a field tell."""

    unit: str
    note: str


def units_by_values(table: str, columns: Mapping[str, Column], written: Collection[str] = ()) -> dict[str, Told]:
    """Return the unit of each field without a written one whose values can only be in another than the field's own.

    Parameters
    ----------
    table : str
        Table of the file.
    columns : mapping
        Columns without a written unit, by field.
    written : collection
        Units of pressure that other columns of the file say.
    """
    fields = fields_for_file(table)
    found: dict[str, Told] = {}
    unit = _pressure_unit({name: columns[name] for name in PRESSURES if name in columns})
    if unit:
        for name, column in columns.items():
            if fields[name].unit == "psig":
                found[name] = _told(column, unit)
    metric = bool({unit, *written} & METRIC)
    if _celsius([(fields[name], columns[name]) for name in TELLING if name in columns]) or (metric and _cool(columns)):
        for name, column in columns.items():
            if dimension_of(fields[name]) == "temperature":
                found[name] = _told(column, "degC")
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


def _cool(columns: Mapping[str, Column]) -> bool:
    medians = [(end, median(values)) for name, end in COOL.items() if (values := _numbers(columns, name))]
    room = [value for name in TELLING for value in _numbers(columns, name)]
    return (
        bool(medians) and all(middle <= end for end, middle in medians) and all(v <= max(COOL.values()) for v in room)
    )


def _numbers(columns: Mapping[str, Column], name: str) -> tuple[float, ...]:
    return columns[name].numbers() if name in columns else ()


def _pressure_unit(sides: Mapping[str, Column]) -> str | None:
    """Return the unit in which the sides, read together often enough, agree; None for psi and where they do not."""
    read = {name: numbers for name, column in sides.items() if (numbers := column.numbers())}
    if sum(map(len, read.values())) < ENOUGH:
        return None
    units = {
        next((unit for end, unit in PRESSURES[name] if 0.1 < median(numbers) <= end), None)
        for name, numbers in read.items()
    }
    return units.pop() if len(units) == 1 else None
