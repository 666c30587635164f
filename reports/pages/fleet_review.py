"""Fleet review, the first page: what to do on Monday, then the fleet in numbers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from reports.advice import Reason, label, split_reason
from reports.charts.bars import RangeBar, range_bar, share, shared_scale
from reports.charts.fleet_scatter import fleet_scatter
from reports.charts.theme import Figure
from reports.format import calls, count, day, number, weeks
from reports.page import Page, Site

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
        "fleet_review_unseen": (),
        "fleet_review_changes": (),
        "fleet_review_care": (),
    },
)


@dataclass(frozen=True)
class FirstUnit:
    """One of the ten to see first."""

    rank: int
    unit_id: str
    flagged: bool
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
class Tally:
    """A label with a count, a bar in percent of the longest, and an expected number where there is one."""

    label: str
    units: int
    bar: float
    expected: float | None = None


@dataclass(frozen=True)
class MakeRow:
    """One make: how many units, how many of them flagged, expected calls per 100 units."""

    label: str
    units: int
    flagged: int
    per_100: float
    bar: float


@dataclass(frozen=True)
class YearRow:
    """One calendar year's visits and the causes of its no-cooling calls."""

    year: int
    visits: int
    tune_ups: int
    no_cooling: int
    causes: str


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
class FleetReview:
    """Everything the page shows."""

    headline: str
    lead: tuple[str, ...]
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
    findings_open: int
    leaks_suspected: int


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> FleetReview:
    """Return the page's context from the marts' frames (``PAGE.queries``)."""
    first = frames["fleet_review_first"]
    scale = shared_scale(first["p_high"].fill_null(0.0))
    ages = frames["fleet_review_ages"]
    years, types_known = _years(frames["fleet_review_calls"])
    return FleetReview(
        headline=_headline(site),
        lead=_lead(site),
        first_heading=_first_heading(first),
        first=tuple(_first(row, scale) for row in first.iter_rows(named=True)),
        scale_pct=round(100 * scale),
        reasons=_reasons(frames["fleet_review_reasons"]),
        makes=_makes(frames["fleet_review_makes"]),
        scatter=fleet_scatter(ages, site.unit_files),
        scatter_rows=_scatter_rows(ages),
        scatter_total=int(ages["units_aged"][0]) if ages.height else 0,
        years=years,
        types_known=types_known,
        last_seen=_last_seen(frames["fleet_review_last_seen"]),
        unseen=tuple(UnseenUnit(**row) for row in frames["fleet_review_unseen"].iter_rows(named=True)),
        changes=_changes(frames["fleet_review_changes"]),
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


def _first_heading(first: pl.DataFrame) -> str:
    flagged = int(first["flagged"].sum())
    if flagged == 0:
        return "Highest chances, none of them flagged"
    if flagged == 1:
        return "See this one first"
    return f"See these {_in_words(flagged)} first"


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


def _reasons(frame: pl.DataFrame) -> tuple[Tally, ...]:
    merged: dict[str, tuple[int, float]] = {}
    for cause, units, expected in frame.select("cause", "units", "expected_failures").iter_rows():
        known = split_reason(cause).cause
        before = merged.get(known, (0, 0.0))
        merged[known] = (before[0] + units, before[1] + expected)
    most = max((units for units, _ in merged.values()), default=0)
    ranked = sorted(merged.items(), key=lambda item: (-item[1][0], item[0]))
    return tuple(Tally(label(cause), units, share(units, most), expected) for cause, (units, expected) in ranked)


def _makes(frame: pl.DataFrame) -> tuple[MakeRow, ...]:
    if not frame["make"].is_not_null().any():
        return ()
    most = _float(frame["expected_per_100"].max()) or 0.0
    return tuple(
        MakeRow(
            label=f"{count(row['makes'], 'other make')}" if row["is_rest"] else row["make"] or "make not known",
            units=row["units"],
            flagged=row["flagged"],
            per_100=row["expected_per_100"],
            bar=share(row["expected_per_100"], most),
        )
        for row in frame.iter_rows(named=True)
    )


def _scatter_rows(ages: pl.DataFrame) -> tuple[tuple[str, str, float, float], ...]:
    flagged = ages.filter(pl.col("flagged")).sort("p_failure", "unit_id", descending=[True, False]).head(25)
    return tuple(
        (row["unit_id"], row["make"] or "make not known", row["age_years"], row["p_failure"])
        for row in flagged.iter_rows(named=True)
    )


def _years(frame: pl.DataFrame) -> tuple[tuple[YearRow, ...], bool]:
    rows = []
    for (year,), group in sorted(
        frame.partition_by("calendar_year", as_dict=True).items(), key=lambda item: -item[0][0]
    ):
        calls = group.filter(pl.col("visit_type") == "no_cooling")
        causes = calls.sort("visits", "cause", descending=[True, False], nulls_last=True).iter_rows(named=True)
        rows.append(
            YearRow(
                year=int(year),
                visits=int(group["visits"].sum()),
                tune_ups=int(group.filter(pl.col("visit_type") == "maintenance")["visits"].sum()),
                no_cooling=int(calls["visits"].sum()),
                causes=", ".join(f"{label(c['cause']).lower()} {number(c['visits'])}" for c in list(causes)[:4]),
            )
        )
    return tuple(rows), bool(frame["visit_type"].is_not_null().any())


def _last_seen(frame: pl.DataFrame) -> tuple[Tally, ...]:
    most = _float(frame["units"].max()) or 0.0
    return tuple(Tally(row["band"], row["units"], share(row["units"], most)) for row in frame.iter_rows(named=True))


def _changes(frame: pl.DataFrame) -> str | None:
    row = frame.row(0, named=True) if frame.height else None
    if row is None or row["earlier_as_of"] is None:
        return None
    return (
        f"Since {day(row['earlier_as_of'])}: {count(row['units_new'], 'unit')} came on to the watch list, "
        f"{number(row['units_cleared'])} left it."
    )
