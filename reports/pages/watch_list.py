"""Watch list: every flagged unit, to filter, sort, call and load for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import Reason, split_reasons
from reports.charts.bars import RangeBar, range_bar, shared_scale
from reports.format import count, money, name, number
from reports.page import Page, Site

WORTH, FIRST_IN_LINE = "worth a stop by itself", "first in line on the tune-up"

PAGE = Page(slug="watch_list", title="Watch list", order=20, queries={"watch_list": (), "watch_list_saving": ()})


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
    worth_a_stop: bool

    @property
    def stop(self) -> str:
        """Why the unit is on the list: the stop pays by itself, or it only comes first when tune-ups are made."""
        return WORTH if self.worth_a_stop else FIRST_IN_LINE


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
    pays: str
    saving: tuple[str, ...]
    both_kinds: bool


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> WatchList:
    """Return the page's context from the marts' frames."""
    frame = frames["watch_list"]
    scale = shared_scale(frame["p_high"].fill_null(0.0))
    units = tuple(_unit(row, scale) for row in frame.iter_rows(named=True))
    choices = (
        Choice("stop", "Stop", _options((unit.stop, unit.stop) for unit in units)),
        Choice("reason", "Reason", _options((unit.reason.cause, unit.reason.label) for unit in units)),
        Choice("make", "Make", _named(unit.make for unit in units)),
        Choice("town", "Town", _named(unit.city for unit in units)),
        Choice("technician", "Last technician", _named(unit.technician for unit in units)),
        Choice("agreement", "Agreement", _named(unit.agreement for unit in units)),
    )
    pays, *saving = _saving(frames["watch_list_saving"].row(0, named=True), site.currency)
    return WatchList(
        units,
        tuple(choice for choice in choices if len(choice.options) > 1),
        round(100 * scale),
        pays,
        tuple(saving),
        both_kinds=len({unit.stop for unit in units}) > 1,
    )


def _saving(row: Mapping[str, Any], currency: str) -> tuple[str, ...]:
    """Return in sentences how the list divides, from which chance a stop pays, and what each choice is worth."""
    worth, listed = row["units_worth"], row["units_flagged"]
    pays = count(worth, "unit is", "units are") if worth else "No unit is"
    rest = f"{'other ' if worth else ''}{count(listed - worth, 'unit listed is', 'units listed are')}"
    divided = f"{pays} {WORTH}{'' if worth == listed else f'; the {rest} {FIRST_IN_LINE}'}."
    from_chance = (
        f"A stop pays from a chance of about {_in_100(row['chance_capacitor'])} on where a worn capacitor is behind "
        f"it, {_in_100(row['chance_other'])} where no reading points to the fault: at "
        f"{money(row['stop_cost'], currency)} a stop against {money(row['call_cost'], currency)} a call (guesses until "
        "settings.toml has your own)."
    )
    choices = (
        f"Expected saving over no extra stop at all: {money(row['saving_worth'], currency)} with stops where they pay, "
        f"{money(row['saving_flagged'], currency)} with one at every unit listed, "
        f"{money(row['saving_all'], currency)} with one at each of the {count(row['units_all'], 'unit')}. "
        "Below zero is a loss: there the work is best joined to a visit already planned."
    )
    known = row["chance_capacitor"] is not None and row["chance_other"] is not None
    return (divided, from_chance, choices) if known else (divided, choices)


def _in_100(chance: float) -> str:
    return f"{number(100 * chance)} in 100" if chance <= 1 else "more than 100 in 100"


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
