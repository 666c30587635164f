"""How the forecast did: plain counts of past seasons first, then whether its odds hold, and what it rests on."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import polars as pl

from reports.charts.bars import RangeBar, range_bar, shared_scale
from reports.format import count, day, number, words
from reports.page import Page, Site

PAGE = Page(
    slug="forecast_record",
    title="How the forecast did",
    order=45,
    queries={"forecast_record_seasons": (), "forecast_record_learned": (), "forecast_record_basis": ()},
)

Row = Mapping[str, Any]

ASKED: Mapping[str, str] = {"decision_day": "on 1 February", "eve": "on the season's eve"}
KINDS: Mapping[str, str] = {"unit": "unit", "section": "capacitor section"}
BASES: Mapping[str, str] = {
    "fitted": "fitted to this shop's own records",
    "starter": "starting values, scaled to this shop's own calls",
    "fallback": "drawn in to this shop's own rate, because the record spoke against the model",
    "readings": "own readings",
    "age": "the age of the part, no reading",
    "fleet": "the fleet's usual course, no reading and no date",
}

SURE = 1.645
"""Standard errors beyond which a skill is taken for more than luck, 95 % one-sided; the guard's own measure."""


LITTLE = 0.05
"""A skill under this is said to be little: it takes off a twentieth of the shop's rate's error (a choice of words)."""


@dataclass(frozen=True)
class Strip:
    """Units of similar odds: what was said, what happened, and the range that chance alone allows."""

    units: int
    said: float
    failed: int
    seen: float
    low: float
    high: float
    bar: RangeBar | None


@dataclass(frozen=True)
class Day:
    """The record of forecasts asked for on one kind of day."""

    asked: str
    verdict: str
    measures: str
    picks: tuple[Row, ...]
    strips: tuple[Strip, ...]
    scale: float
    readings: int
    interval_share: float | None
    causes: tuple[Row, ...]


@dataclass(frozen=True)
class ForecastRecord:
    """Everything the page shows."""

    headline: str
    lead: str
    guard: str | None
    seasons: tuple[Row, ...]
    days: tuple[Day, ...]
    bases: tuple[Row, ...]
    facts: tuple[str, ...]
    card: Mapping[str, Sequence[str]]


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> ForecastRecord:
    """Return the page's context from the marts' frames (``PAGE.queries``)."""
    seasons = [{**row, "said_on": day(row["as_of"])} for row in frames["forecast_record_seasons"].iter_rows(named=True)]
    learned = {row["name"]: row for row in frames["forecast_record_learned"].iter_rows(named=True)}
    nothing: dict[str, Any] = {"days": [], "bad": False, "why": ""}
    record = json.loads(learned["record"]["params"]) if "record" in learned else nothing
    fitted = json.loads(learned["fitted"]["params"]) if "fitted" in learned else None
    return ForecastRecord(
        headline=_headline(seasons),
        lead=_lead(seasons, site),
        guard=_guard(record),
        seasons=tuple(seasons),
        days=tuple(_day(entry) for entry in record["days"]),
        bases=tuple(
            {
                **row,
                "what": KINDS.get(row["kind"], words(row["kind"])),
                "said": BASES.get(row["basis"] or "", words(row["basis"])),
            }
            for row in frames["forecast_record_basis"].iter_rows(named=True)
        ),
        facts=_facts(fitted, learned),
        card=model_card(),
    )


@cache
def model_card() -> Mapping[str, Sequence[str]]:
    """Return what the forecast knows, cannot know and assumes, a sentence each."""
    raw = tomllib.loads(resources.files("reports").joinpath("model_card.toml").read_text("utf-8"))
    return {name: tuple(part["lines"]) for name, part in raw.items()}


def _headline(seasons: Sequence[Row]) -> str:
    if not seasons:
        return "No past season to hold the forecast against yet"
    last = seasons[0]
    flagged = count(last["flagged"], "unit")
    return (
        f"Before season {last['season']} it would have flagged {flagged}: "
        f"{number(last['flagged_failed'])} had a no-cooling call"
    )


def _lead(seasons: Sequence[Row], site: Site) -> str:
    if not seasons:
        return (
            "A season is looked back on once it has ended and another lies before it in the records; "
            f"{count(site.visits_counted, 'visit')} are stored so far."
        )
    last = seasons[0]
    flagged, others = (_in_100(last[f"{who}_failed"], last[who]) for who in ("flagged", "others"))
    return (
        f"Of the {number(last['others'])} others {number(last['others_failed'])} did: {others}, against {flagged} of "
        f"those flagged. In all {number(last['expected_failures'], 1)} were expected and "
        f"{number(last['failures'])} came. "
        "Each season below was forecast again from what was on file then, and nothing later."
    )


def _in_100(failed: int, units: int) -> str:
    return f"{number(100 * failed / units)} in 100" if units else "none to count"


def _guard(record: Mapping[str, Any]) -> str | None:
    if not record["bad"]:
        return None
    why = record["why"] or "its odds did not hold"
    return (
        f"The record speaks against the model ({why}), so today's odds are drawn in towards this shop's own rate. "
        "The order of the list may still help; the numbers say little."
    )


def _day(entry: dict[str, Any]) -> Day:
    scale = shared_scale([piece["share_high"] for piece in entry["bins"]])
    strips = tuple(
        Strip(
            units=piece["units"],
            said=piece["expected_share"],
            failed=piece["failed"],
            seen=piece["share"],
            low=piece["share_low"],
            high=piece["share_high"],
            bar=range_bar(piece["expected_share"], piece["share_low"], piece["share_high"], scale),
        )
        for piece in entry["bins"]
    )
    picks = (
        {"who": "flagged by the forecast", **entry["flagged"]},
        {"who": "all others", **entry["others"]},
        {"who": "rule of thumb: last reading out of tolerance", **entry["rule"]},
        {"who": "as many as that rule picks, from the top of the forecast", **entry["same_number"]},
        {"who": "top twentieth of the forecast", **entry["top_twentieth"]},
        {"who": "every unit", "units": entry["units"], "failed": entry["failures"]},
    )
    return Day(
        asked=ASKED.get(entry["asked"], words(entry["asked"])),
        verdict=_verdict(entry),
        measures=_measures(entry),
        picks=picks,
        strips=strips,
        scale=scale,
        readings=entry["readings"],
        interval_share=entry["interval_share"],
        causes=_causes(entry),
    )


def _verdict(entry: Mapping[str, Any]) -> str:
    seen = (
        f"{count(entry['failures'], 'failure')} in {count(entry['seasons'], 'season')}, "
        f"{number(entry['expected_failures'], 1)} expected; "
        f"{count(entry['left_out'], 'forecast')} left out, because the shop acted first."
    )
    if entry["too_few"]:
        return f"{seen} Too few to judge the odds: at least 30 failures are needed."
    return f"{seen} Over all units the odds were {_against_rate(entry)} giving each the shop's own rate."


def _measures(entry: Mapping[str, Any]) -> str:
    """Return the numbers behind the verdict, for who knows them."""
    if entry["too_few"]:
        return ""
    return (
        f"Skill {number(entry['skill'], 3)} ± {number(entry['skill_se'], 3)} (0 is the shop's rate, 1 certainty); "
        f"calibration slope {number(entry['slope'], 2)} ± {number(entry['slope_se'], 2)} (1 is ideal, under 1 means "
        "odds spread too wide); ± is one standard error."
    )


def _against_rate(entry: Mapping[str, Any]) -> str:
    if abs(entry["skill"]) < SURE * entry["skill_se"]:
        return "too close to tell from"
    little = "a little " if abs(entry["skill"]) < LITTLE else ""
    return f"{little}better than" if entry["skill"] > 0 else f"{little}worse than"


def _causes(entry: Mapping[str, Any]) -> tuple[Row, ...]:
    expected, happened = entry["causes_expected"], entry["causes_happened"]
    named = sorted({*expected, *happened}, key=lambda cause: (-expected.get(cause, 0.0), cause))
    return tuple({"cause": c, "expected": expected.get(c, 0.0), "happened": happened.get(c, 0)} for c in named)


def _facts(fitted: Mapping[str, Any] | None, learned: Mapping[str, Row]) -> tuple[str, ...]:
    if fitted is None:
        return ()
    units, sections = fitted["units"], fitted["sections"]
    noise = sections["noise"]
    effect, usual = units["heat"]
    tenth = 100 * (1.1**effect - 1)
    heat = (
        f"Past seasons were brought to the usual heat of {number(usual)} degree days (degree_days.csv): one a tenth "
        f"hotter is taken to bring {number(abs(tenth), 1)} % {'more' if tenth >= 0 else 'fewer'} failures. "
        "The season ahead is taken as a usual one.",
    )
    spreads = ", ".join(f"{words(name)} ±{number(sd, 1)} %" for name, sd in sorted(noise["noise_pct"].items()))
    return (
        f"Learned from visits up to {day(learned['fitted']['fitted_through'])}: "
        f"{number(units['unit_seasons'])} unit-seasons with {count(units['failures'], 'failure')}, "
        f"{count(sections['series'], 'capacitor series', 'capacitor series')}.",
        f"The model in use is {BASES.get(units['mode'], units['mode'])}.",
        f"One reading is taken to be good within (one standard deviation, percent of the rating): {spreads}.",
        f"The usual drift of a section here is {number(noise['slope_pct_per_year'], 2)} % a year; about "
        f"{number(100 * sections['open_rate_per_year'], 2)} in 100 sections open without warning in a year.",
        *(heat if usual > 0 else ()),
    )
