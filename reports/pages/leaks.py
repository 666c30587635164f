"""Leaks and refrigerant: which systems are losing charge, what was topped up blindly, and what went in and out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import advice
from reports.charge_words import DECISIONS, SEARCH, because, rate_briefly
from reports.format import MONTHS, count, day, kept_together, number, words
from reports.page import Page, Site

PAGE = Page(
    slug="leaks",
    title="Leaks and refrigerant",
    order=34,
    queries={"leaks_suspected": (), "leaks_topped_up": (), "leaks_use": (), "leaks_log": (), "leaks_types": ()},
)

Row = Mapping[str, Any]

HIGH_GWP = 700.0
"""Over this a refrigerant counts as one of high warming potential here: the limit for new home systems in the US rule
(40 CFR 84.54, from memory, not seen); check the rule in force."""


@dataclass(frozen=True)
class Leaks:
    """Everything the page shows."""

    headline: str
    nothing: str
    types_said: tuple[str, ...]
    use_said: tuple[str, ...]
    cautions: tuple[str, ...]
    suspected: tuple[Row, ...]
    suspected_in_all: int
    rule: str | None
    topped_up: tuple[Row, ...]
    topped_up_in_all: int
    types: tuple[Row, ...]
    use: tuple[Row, ...]
    log: tuple[Row, ...]


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> Leaks:
    """Return the page's context from the marts' frames (``PAGE.queries``)."""
    suspected, topped_up = frames["leaks_suspected"], frames["leaks_topped_up"]
    use = [_use(row) for row in frames["leaks_use"].iter_rows(named=True)]
    types = list(frames["leaks_types"].iter_rows(named=True))
    told = bool(use) or site.charge_readings_testable > 0
    return Leaks(
        headline=_headline(_in_all(suspected), site, told),
        nothing=(
            "Readings, top-ups and leak searches on file point at no leak more likely than not."
            if told
            else "That takes charge readings, refrigerant weighed in and leak searches in the export; none are on file."
        ),
        types_said=_depleting(use, types),
        use_said=(*_warming(use, site.as_of), *_marks(use)),
        cautions=advice()["refrigerant_leak"].cautions,
        suspected=tuple(_suspected(row) for row in suspected.iter_rows(named=True)),
        suspected_in_all=_in_all(suspected),
        rule=_rule(suspected),
        topped_up=tuple(_topped_up(row) for row in topped_up.iter_rows(named=True)),
        topped_up_in_all=_in_all(topped_up),
        types=tuple(types),
        use=tuple(use),
        log=tuple({**row, "month": month(row["month_start"])} for row in frames["leaks_log"].iter_rows(named=True)),
    )


def month(first: dt.date) -> str:
    """Return ``Mar 2026``."""
    return f"{MONTHS[first.month - 1]} {first.year}"


def _in_all(frame: pl.DataFrame) -> int:
    return int(frame["units_in_all"][0]) if frame.height else 0


def _headline(suspected: int, site: Site, told: bool) -> str:
    if suspected == 0:
        return "No system is likely to be losing charge" if told else "Nothing on file can show a leak yet"
    verb = "is" if suspected == 1 else "are"
    return f"{number(suspected)} of {count(site.units_active, 'system')} {verb} probably losing charge"


def _depleting(use: Sequence[Row], types: Sequence[Row]) -> tuple[str, ...]:
    """Return how much of what depletes ozone the units hold and were given."""
    depleting = {row["refrigerant"] for row in use if row["ozone_depleting"]}
    return tuple(
        f"{count(row['units_active'], 'unit')} still {'holds' if row['units_active'] == 1 else 'hold'} "
        f"{words(row['refrigerant'])}, which depletes ozone and is getting scarce; "
        f"{number(row['added_lb_12_months'], 1)}\u00a0lb went in during the last twelve months."
        for row in types
        if row["refrigerant"] in depleting
    )


def _warming(use: Sequence[Row], as_of: dt.date | None) -> tuple[str, ...]:
    """Return what went in during the last whole year of types of high warming potential."""
    whole = [row for row in use if row["high_gwp"] and as_of is not None and row["calendar_year"] < as_of.year]
    if not whole:
        return ()
    year = max(row["calendar_year"] for row in whole)
    newest = [row for row in whole if row["calendar_year"] == year]
    net, co2 = (sum(row[key] or 0.0 for row in newest) for key in ("net_lb", "co2_t"))
    return (
        f"In {year}, {number(net, 1)}\u00a0lb more went in than came out of refrigerants with a warming potential over "
        f"{number(HIGH_GWP)}. If all of it leaks out, it warms as much as {number(co2, 1)} t of CO₂.",
    )


def _marks(use: Sequence[Row]) -> tuple[str, ...]:
    """Return once, and not in every row, which types to keep in view."""
    said = []
    kept_in_view = {"ozone_depleting": "Depletes ozone", "high_gwp": f"Warming potential over {number(HIGH_GWP)}"}
    for key, text in kept_in_view.items():
        named = sorted({words(row["refrigerant"]) for row in use if row[key]})
        said += [f"{text}: {', '.join(named)}."] if named else []
    return (" ".join(said),) if said else ()


def _use(row: Row) -> Row:
    return {**row, "high_gwp": row["gwp"] is not None and row["gwp"] > HIGH_GWP}


def _suspected(row: Row) -> Row:
    rule = row["federal_threshold"] or ""
    return {
        **row,
        "rate": rate_briefly(row),
        "because": kept_together(because(row["because"])),
        "said": _decision(row),
        "rule": rule if "check the rule" in rule else None,
    }


def _topped_up(row: Row) -> Row:
    search = SEARCH.get(row["leak_found"] or "")
    return {
        **row,
        "search": f"{search}, {day(row['searched_on'])}" if search else "no search since",
        "said": _decision(row),
    }


def _decision(row: Row) -> str:
    if row["decision"] is None:
        return ""
    return DECISIONS.get(row["decision"], words(row["decision"]))


def _rule(suspected: pl.DataFrame) -> str | None:
    """Return to how many of the suspected units no federal leak-rate threshold applies."""
    if suspected.is_empty():
        return None
    told = suspected["federal_threshold"]
    free = int(told.str.contains("no federal", literal=True).fill_null(False).sum())
    unknown = int(told.is_null().sum())
    parts = [f"No federal leak-rate threshold applies to {number(free)} of the {number(suspected.height)} listed"]
    parts += [f"of {number(unknown)} the plate's charge is not known"] if unknown else []
    rest = suspected.height - free - unknown
    parts += [f"{number(rest)} may fall under one"] if rest else []
    return "; ".join(parts) + ". A leak rate here is a sign, not a finding of compliance: check the rule in force."
