"""Fleet review, the first page: what to do on Monday, then the fleet in numbers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from reports.advice import Reason, split_reason
from reports.charts.bars import RangeBar, range_bar, shared_scale
from reports.charts.fleet_scatter import fleet_scatter
from reports.charts.theme import Figure
from reports.fleet_numbers import MakeRow, Tally, YearRow, bands, makes, reasons, scatter_rows, years
from reports.format import calls, count, day, number, weeks
from reports.page import Page, Site
from reports.review_lines import QUERIES, Line, lines

PAGE = Page(
    slug="fleet_review",
    title="Fleet review",
    order=10,
    queries={
        "fleet_review_first": (),
        "fleet_review_reasons": (),
        "fleet_review_makes": (),
        "fleet_review_ages": (),
        "fleet_review_calls": (),
        "fleet_review_last_seen": (),
        "fleet_review_changes": (),
        "fleet_review_moved": (),
        "fleet_review_care": (),
        "fleet_review_open": (),
        **dict.fromkeys(QUERIES, ()),
    },
)


@dataclass(frozen=True)
class FirstUnit:
    """One of the ten to see first."""

    rank: int
    unit_id: str
    flagged: bool
    seen_in_season: bool
    customer_name: str | None
    phone: str | None
    address: str | None
    city: str | None
    reason: Reason
    p_failure: float
    p_low: float | None
    p_high: float | None
    bar: RangeBar | None
    last_visit_on: dt.date | None


@dataclass(frozen=True)
class UnseenUnit:
    """A unit worth a call because nobody has been there for long."""

    unit_id: str
    customer_name: str | None
    phone: str | None
    address: str | None
    city: str | None
    make: str | None
    last_visit_on: dt.date


@dataclass(frozen=True)
class MovedUnit:
    """A unit that came on to the watch list (``flagged``) or left it since the newest earlier as-of."""

    unit_id: str
    flagged: bool
    reason: Reason
    seen_since: bool
    customer_name: str | None
    address: str | None


@dataclass(frozen=True)
class FleetReview:
    """Everything the page shows."""

    headline: str
    lead: tuple[str, ...]
    lines_heading: str
    lines: tuple[Line, ...]
    first_heading: str
    first: tuple[FirstUnit, ...]
    scale_pct: int
    reasons: tuple[Tally, ...]
    makes: tuple[MakeRow, ...]
    scatter: Figure | None
    scatter_rows: tuple[tuple[str, str, float, float], ...]
    scatter_total: int
    years: tuple[YearRow, ...]
    types_known: bool
    last_seen: tuple[Tally, ...]
    unseen: tuple[UnseenUnit, ...]
    changes: str | None
    moved: tuple[MovedUnit, ...]
    findings_ages: tuple[Tally, ...]
    findings_open: int
    leaks_suspected: int


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> FleetReview:
    """Return the page's context from the marts' frames (``PAGE.queries``)."""
    first = frames["fleet_review_first"]
    scale = shared_scale(first["p_high"].fill_null(0.0))
    ages = frames["fleet_review_ages"]
    by_year, types_known = years(frames["fleet_review_calls"])
    return FleetReview(
        headline=_headline(site),
        lead=_lead(site),
        lines_heading={"before": "Before the season", "in": "In the heat", "after": "After the season"}[site.phase],
        lines=lines(frames, site),
        first_heading=_first_heading(first, site),
        first=tuple(_first(row, scale) for row in first.iter_rows(named=True)),
        scale_pct=round(100 * scale),
        reasons=reasons(frames["fleet_review_reasons"]),
        makes=makes(frames["fleet_review_makes"]),
        scatter=fleet_scatter(ages, site.unit_files),
        scatter_rows=scatter_rows(ages),
        scatter_total=int(ages["units_aged"][0]) if ages.height else 0,
        years=by_year,
        types_known=types_known,
        last_seen=bands(frames["fleet_review_last_seen"], "units"),
        unseen=tuple(UnseenUnit(**row) for row in frames["fleet_review_unseen"].iter_rows(named=True)),
        changes=_changes(frames["fleet_review_changes"]),
        moved=tuple(_moved(row) for row in frames["fleet_review_moved"].iter_rows(named=True)),
        findings_ages=bands(frames["fleet_review_open"], "findings"),
        findings_open=int(frames["fleet_review_care"]["findings_open"][0]),
        leaks_suspected=int(frames["fleet_review_care"]["leaks_suspected"][0]),
    )


def _headline(site: Site) -> str:
    if site.units_active == 0:
        return "No unit is in care yet"
    whom = _whom(site)
    days = site.days_to_season
    if days is None:
        return whom[0].upper() + whom[1:]
    if site.phase == "in" and site.season_end and site.as_of:
        return f"In season, {count((site.season_end - site.as_of).days + 1, 'day')} left: {whom}"
    if site.phase == "after":
        return f"Off season, {weeks(days)} to the next: {whom}"
    return f"{weeks(days)} to the season: {whom}"


def _whom(site: Site) -> str:
    if site.units_flagged == 0:
        return "no unit stands out from the rest"
    if site.units_active == 1:
        return "see the one unit in care"
    if site.units_flagged == site.units_active:
        return f"see all {number(site.units_active)} units"
    return f"see {number(site.units_flagged)} of {number(site.units_active)} units first"


def _lead(site: Site) -> tuple[str, ...]:
    if site.units_active == 0:
        return ("Run the program on an export with visits, and the units to see first will stand here.",)
    parts = []
    if site.season_end and site.expected_failures > 0:
        text = f"If nothing is done, expect {calls(site.expected_failures)} by {day(site.season_end)}"
        if site.units_flagged and site.expected_failures_flagged >= 0.5:
            text += (
                f", about {number(round(site.expected_failures_flagged))} of them from the "
                f"{count(site.units_flagged, 'unit')} on the watch list"
            )
        parts.append(text + ".")
    if not site.has_readings:
        parts.append(
            "No capacitor or charge reading is on file, so the order rests on age, past calls and how long "
            "ago each unit was seen. Write the capacitor readings of every tune-up into the export: they "
            "sharpen this list the most."
        )
    elif site.units_with_capacitor_reading * 2 < site.units_active:
        parts.append(
            f"Only {number(site.units_with_capacitor_reading)} of {count(site.units_active, 'unit')} have a "
            "capacitor reading; the others are judged by age and history."
        )
    return tuple(parts)


def _first_heading(first: pl.DataFrame, site: Site) -> str:
    flagged = int(first["flagged"].sum())
    if flagged == 0:
        return "Highest chances, none of them flagged"
    still = int((first["flagged"] & ~first["seen_in_season"]).sum())
    if site.phase == "in" and still:
        return f"Still open in the heat: {_in_words(still)} to see first"
    if site.phase == "after":
        return "First in line for next season"
    these = "this one" if flagged == 1 else f"these {_in_words(flagged)}"
    return f"See {these} first{', then the next in line' if flagged < first.height else ''}"


def _in_words(n: int) -> str:
    return ("", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")[n]


def _first(row: Mapping[str, object], scale: float) -> FirstUnit:
    kept = {key: value for key, value in row.items() if key != "leading_reason"}
    return FirstUnit(
        reason=split_reason(_text(row["leading_reason"])),
        bar=range_bar(_float(row["p_failure"]), _float(row["p_low"]), _float(row["p_high"]), scale),
        **kept,  # type: ignore[arg-type]
    )


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _float(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) else None


def _moved(row: Mapping[str, object]) -> MovedUnit:
    kept = {key: value for key, value in row.items() if key not in {"leading_reason", "seen_since"}}
    return MovedUnit(
        reason=split_reason(_text(row["leading_reason"])),
        seen_since=row["seen_since"] is True,
        **kept,  # type: ignore[arg-type]
    )


def _changes(frame: pl.DataFrame) -> str | None:
    row = frame.row(0, named=True) if frame.height else None
    if row is None or row["earlier_as_of"] is None:
        return None
    return (
        f"Since {day(row['earlier_as_of'])}: {count(row['units_new'], 'unit')} came on to the watch list, "
        f"{number(row['units_cleared'])} left it."
    )
