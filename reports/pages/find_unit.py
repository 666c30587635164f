"""Find a unit: every active unit from A to Z, by customer where names are shown, on one page or several."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from reports.format import count, known_as, name
from reports.page import Page, Site

PAGE = Page(slug="find_unit", title="Find a unit", order=30, queries={"find_unit": ()})
PER_PAGE = 500
"""Rows that a phone still opens and searches without a pause (engineering choice)."""


@dataclass(frozen=True)
class FoundUnit:
    """One unit as people look for it."""

    unit_id: str
    flagged: bool
    p_failure: float | None
    last_visit_on: dt.date | None
    customer_name: str | None
    address: str | None
    city: str | None
    unit_location: str | None
    make: str | None
    agreement_renews_on: dt.date | None


@dataclass(frozen=True)
class Part:
    """A stretch of the list with the file it lies in and its first and last entry."""

    file: str
    title: str
    first: str
    last: str
    units: tuple[FoundUnit, ...]


@dataclass(frozen=True)
class FindUnit:
    """Everything the page shows: the list itself where it is short, else its parts."""

    heading: str
    parts: tuple[Part, ...]
    units: tuple[FoundUnit, ...]
    index: tuple[tuple[str, str], ...]


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> FindUnit:
    """Return the page's context from the marts' frames."""
    parts = list_parts(frames["find_unit"])
    heading = count(site.units_active, "unit") + " in care"
    if len(parts) > 1:
        return FindUnit(heading, parts, (), tuple(_entry(unit, part, site) for part in parts for unit in part.units))
    return FindUnit(heading, (), parts[0].units if parts else (), ())


def _entry(unit: FoundUnit, part: Part, site: Site) -> tuple[str, str]:
    """Return what is searched and shown of a unit, and where it leads: its page, else its stretch of the list."""
    called = known_as(unit.unit_id, unit.customer_name, unit.address)
    said = (called, unit.customer_name, unit.address, unit.unit_location, unit.city, unit.make)
    file = site.unit_files.get(unit.unit_id)
    return ", ".join(dict.fromkeys(name(text) for text in said if text)), (
        f"unit/{file}" if file else f"find_unit_part/{part.file}"
    )


def list_parts(units: pl.DataFrame) -> tuple[Part, ...]:
    """Return the whole list in stretches of at most ``PER_PAGE``, sorted by customer, else by unit."""
    key = pl.coalesce("customer_name", "unit_id").str.to_lowercase()
    ordered = units.with_columns(key.alias("key")).sort("key", "unit_id")
    return tuple(_part(n, part) for n, part in enumerate(ordered.iter_slices(PER_PAGE), start=1) if part.height)


def _part(number: int, rows: pl.DataFrame) -> Part:
    units = tuple(
        FoundUnit(**{field: row[field] for field in FoundUnit.__dataclass_fields__})
        for row in rows.iter_rows(named=True)
    )
    first, last = (name(unit.customer_name or unit.unit_id) for unit in (units[0], units[-1]))
    return Part(f"{number:03d}.html", f"Units, part {number}", first, last, units)
