"""Parts and makes: what fails how often, how long it lasts, and what may be said of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import label
from reports.charts.bars import share
from reports.charts.funnel import funnel
from reports.charts.theme import Figure
from reports.format import count, name, number, words
from reports.page import Page, Site
from reports.pages.figure_rows import figures_of
from reports.pages.rate_rows import group_words, rows_file
from reports.survival_shown import Survival, survival_shown

PAGE = Page(
    slug="parts_and_makes",
    title="Parts and makes",
    order=36,
    queries={
        "parts_and_makes_rates": (),
        "parts_and_makes_funnel": (),
        "parts_and_makes_lives": (),
        "parts_and_makes_curves": (),
        "parts_and_makes_hazards": (),
        "parts_and_makes_gathered": (),
        "parts_and_makes_callbacks": (),
        "parts_and_makes_quality": (),
        "parts_and_makes_trend": (),
        "parts_and_makes_faults": (),
        "figure_rows": (),
    },
)

Row = Mapping[str, Any]

GROUPINGS: Mapping[str, tuple[str, str, str]] = {
    "make": ("By make", "Make", "of each make"),
    "component": ("By component at fault", "Component", "put down to each component; every one has all unit-years"),
    "part_make": ("By make of the part fitted", "Make of the part", "put down to the part, in years it was in service"),
    "refrigerant": ("By refrigerant", "Refrigerant", "of each refrigerant"),
    "vintage": ("By year of install", "Year", "of each year's units: older ones fail more"),
    "installed_by": ("By installer", "Installed by", "of each installer's units"),
    "agreement": ("By maintenance agreement", "Agreement", "with and without, as it stands today"),
    "model": ("By model", "Model", "of each model"),
}
"""Grouping to heading, column head and what its failures are, in the order of the page."""
OPEN = ("make", "component", "part_make")
"""Groupings whose table lies open on the page."""
METHODS: Mapping[str, str] = {
    "fitted": "curve fitted",
    "shape_held": "shape held",
    "no_failures": "no failure seen",
}
FAULTS: Mapping[str, str] = {
    "install_after_first_visit": "Installed after the first visit",
    "registered_before_install": "Registered before the install",
    "retired_then_visited": "Visited after it was retired",
    "serial_used_twice": "One serial on two units",
    "claim_without_status": "Claim amount without a state",
    "claimed_before_visit": "Claimed before the visit",
    "part_of_unknown_unit": "Part of an unknown unit or visit",
}


@dataclass(frozen=True)
class Grouping:
    """One table of rates."""

    key: str
    heading: str
    column: str
    about: str
    groups: int
    rows: tuple[Row, ...]

    @property
    def folded(self) -> bool:
        """Whether the table is opened only when asked for."""
        return self.key not in OPEN

    @property
    def higher(self) -> int:
        """How many groups shown are higher than the others by more than luck."""
        return sum(bool(row["higher"]) for row in self.rows)

    @property
    def compared(self) -> bool:
        """Whether any group was held against the fleet's rate: else its sentence only repeats the columns."""
        return any(row["expected_failures"] is not None for row in self.rows)


@dataclass(frozen=True)
class PartsAndMakes:
    """Everything the page shows."""

    headline: str
    lead: tuple[str, ...]
    groupings: tuple[Grouping, ...]
    funnel: Figure | None
    survival: tuple[Survival, ...]
    lives: tuple[Row, ...]
    lives_by_make: tuple[Row, ...]
    hazards: tuple[Row, ...]
    gathered: tuple[Row, ...]
    technicians: tuple[Row, ...]
    components: tuple[Row, ...]
    components_above: bool
    quality: tuple[Row, ...]
    quality_alike: tuple[Row, ...]
    trend: tuple[Row, ...]
    change: str | None
    faults: tuple[Row, ...]
    faults_in_all: int
    rows_of: Mapping[str, str]


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> PartsAndMakes:
    """Return the page's context from the marts' frames (``PAGE.queries``)."""
    rates = frames["parts_and_makes_rates"]
    groupings = tuple(_grouping(key, rates.filter(pl.col("group_by") == key)) for key in GROUPINGS)
    back = [_back(row) for row in frames["parts_and_makes_callbacks"].iter_rows(named=True)]
    faults = frames["parts_and_makes_faults"]
    trend = frames["parts_and_makes_trend"]
    lives = [_life(row) for row in frames["parts_and_makes_lives"].iter_rows(named=True)]
    quality = list(frames["parts_and_makes_quality"].iter_rows(named=True))
    return PartsAndMakes(
        headline=_headline(rates),
        lead=_lead(rates),
        groupings=tuple(grouping for grouping in groupings if _tells(grouping)),
        funnel=funnel(frames["parts_and_makes_funnel"], _files(rates)),
        survival=survival_shown(frames["parts_and_makes_curves"]),
        lives=tuple(row for row in lives if not row["make"]),
        lives_by_make=tuple(row for row in lives if row["make"]),
        hazards=tuple(frames["parts_and_makes_hazards"].iter_rows(named=True)),
        gathered=tuple(frames["parts_and_makes_gathered"].iter_rows(named=True)),
        technicians=tuple(row for row in back if row["group_by"] == "technician"),
        components=tuple(row for row in back if row["group_by"] == "component"),
        components_above=any(row["group_by"] == "component" and (row["ratio_low"] or 0.0) > 1 for row in back),
        quality=tuple(row for row in quality if not row["section"] or row["faster"]),
        quality_alike=tuple(row for row in quality if row["section"] and not row["faster"]),
        trend=tuple(trend.iter_rows(named=True)),
        change=_change(trend),
        faults=tuple(
            {**row, "label": FAULTS.get(row["fault"], words(row["fault"]))} for row in faults.iter_rows(named=True)
        ),
        faults_in_all=int(faults["faults"][0]) if faults.height else 0,
        rows_of=figures_of(frames),
    )


def _files(rates: pl.DataFrame) -> dict[str, str]:
    """Return the page of rows of each make that has one."""
    makes = rates.filter(pl.col("group_by") == "make")["group_value"]
    return {make: f"rate_rows/{rows_file('make', make)}" for make in makes}


def _tells(grouping: Grouping) -> bool:
    """Return whether the table says more than one line of things not known."""
    return any(row["group_value"] != "not known" for row in grouping.rows)


def _grouping(key: str, rates: pl.DataFrame) -> Grouping:
    heading, column, about = GROUPINGS[key]
    most = max((row["rate_high"] or 0.0 for row in rates.iter_rows(named=True) if _steady(row)), default=0.0)
    placed = rates.sort("group_value") if key == "vintage" else rates
    rows = tuple(_rate(row, most) for row in placed.iter_rows(named=True))
    return Grouping(key, heading, column, about, int(rates["groups"][0]) if rates.height else 0, rows)


def _steady(row: Row) -> bool:
    """Return whether the row's interval is narrow enough to set the scale of the bars."""
    return bool(row["unit_years"] and row["unit_years"] >= 10)


def _rate(row: Row, most: float) -> Row:
    return {
        **row,
        "name": label(row["group_value"]) if row["group_by"] == "component" else row["group_value"],
        "file": rows_file(row["group_by"], row["group_value"]),
        "bar": share(min(row["rate_per_100_unit_years"] or 0.0, most), most),
    }


def _headline(rates: pl.DataFrame) -> str:
    if rates.is_empty() or not rates["failures"].sum():
        return "No no-cooling call after a first visit is on file yet"
    higher = rates.filter(pl.col("higher") & (pl.col("group_by") == "make"))["group_value"].to_list()
    if not higher:
        return "No make fails more often than luck explains"
    verb = "fails" if len(higher) == 1 else "fail"
    return f"{', '.join(higher[:4])} {verb} more often than luck explains"


def _lead(rates: pl.DataFrame) -> tuple[str, ...]:
    components = rates.filter(pl.col("group_by") == "component")
    if components.is_empty():
        return ()
    years = components["unit_years"][0]
    higher = rates.filter(pl.col("higher"))
    parts = [
        f"A failure is a no-cooling call after the unit's first visit; two for one cause within 14 days are one. "
        f"In {number(years)} unit-years under care, {count(_whole(rates, 'make'), 'failure')} count."
    ]
    if higher.height:
        named = [_told(row) for row in higher.head(6).iter_rows(named=True)]
        parts.append(f"Above the others by more than luck, each among its own kind: {'; '.join(named)}.")
    return tuple(parts)


def _told(row: Row) -> str:
    """Return a group with its count, its rate and limits, and what the fleet's rate would have given."""
    group, called = group_words(row["group_by"], row["group_value"])
    return (
        f"{group} {name(called)}, {count(row['failures'], 'failure')} in "
        f"{number(row['unit_years'])} unit-years, {number(row['rate_per_100_unit_years'], 1)} per 100 "
        f"({number(row['rate_low'], 1)} to {number(row['rate_high'], 1)}), where the fleet's rate would give "
        f"{number(row['expected_failures'])}"
    )


def _whole(rates: pl.DataFrame, grouping: str) -> int:
    return int(rates.filter(pl.col("group_by") == grouping)["failures"].sum())


def _life(row: Row) -> Row:
    return {
        **row,
        "name": "Whole unit" if row["component"] == "unit" else label(row["component"]),
        "method_words": METHODS[row["method"]],
    }


def _back(row: Row) -> Row:
    return {**row, "name": label(row["who"]) if row["group_by"] == "component" else row["who"]}


def _change(trend: pl.DataFrame) -> str | None:
    factor, low, high, same = (
        trend.select("factor", "factor_low", "factor_high", "at_same_heat").row(0) if trend.height else (None,) * 4
    )
    if factor is None:
        return None
    heat = "at the same heat" if same else "heat not taken off: put degree_days.csv into the shop folder"
    rises = "rising" if low > 1 else "falling" if high < 1 else "neither rising nor falling as far as can be told"
    return (
        f"Per unit-year, failures are {rises}: by a factor of {number(factor, 2)} a season "
        f"({number(low, 2)} to {number(high, 2)}; {heat})."
    )
