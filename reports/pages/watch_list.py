"""Watch list: every flagged unit, to filter, sort, call and load for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import Reason, split_reasons
from reports.charts.bars import RangeBar, range_bar, shared_scale
from reports.format import name
from reports.page import Page, Site

PAGE = Page(slug="watch_list", title="Watch list", order=20, queries={"watch_list": ()})


@dataclass(frozen=True)
class WatchedUnit:
    """One flagged unit; ``also`` holds the reasons after the leading one."""

    rank: int
    unit_id: str
    customer_name: str | None
    phone: str | None
    address: str | None
    city: str | None
    agreement: str | None
    unit_location: str | None
    make: str | None
    age_years: int | None
    reason: Reason
    also: tuple[Reason, ...]
    p_failure: float
    p_low: float | None
    p_high: float | None
    bar: RangeBar | None
    last_visit_on: dt.date | None
    technician: str | None
    expected_cost: float | None


@dataclass(frozen=True)
class Choice:
    """One box that narrows the list: the row attribute it looks at, its label and its options."""

    key: str
    label: str
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class WatchList:
    """Everything the page shows."""

    units: tuple[WatchedUnit, ...]
    choices: tuple[Choice, ...]
    scale_pct: int


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> WatchList:
    """Return the page's context from the marts' frames."""
    frame = frames["watch_list"]
    scale = shared_scale(frame["p_high"].fill_null(0.0))
    units = tuple(_unit(row, scale) for row in frame.iter_rows(named=True))
    choices = (
        Choice("reason", "Reason", _options((unit.reason.cause, unit.reason.label) for unit in units)),
        Choice("make", "Make", _named(unit.make for unit in units)),
        Choice("town", "Town", _named(unit.city for unit in units)),
        Choice("technician", "Last technician", _named(unit.technician for unit in units)),
        Choice("agreement", "Agreement", _named(unit.agreement for unit in units)),
    )
    return WatchList(units, tuple(choice for choice in choices if len(choice.options) > 1), round(100 * scale))


def _unit(row: Mapping[str, Any], scale: float) -> WatchedUnit:
    reasons = split_reasons(row["reasons"]) or split_reasons(row["leading_reason"] or "other")
    leading = (split_reasons(row["leading_reason"]) or reasons)[0]
    kept = {field: row[field] for field in WatchedUnit.__dataclass_fields__ if field in row}
    return WatchedUnit(
        reason=leading,
        also=tuple(reason for reason in reasons if reason != leading),
        bar=range_bar(row["p_failure"], row["p_low"], row["p_high"], scale),
        **kept,
    )


def _named(values: Iterable[str | None]) -> tuple[tuple[str, str], ...]:
    return _options((name(value), name(value)) for value in values if value)


def _options(pairs: Iterable[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    return tuple(sorted(set(pairs), key=lambda pair: (pair[1].casefold(), pair[0])))
