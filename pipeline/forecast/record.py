"""The forecast's record in plain counts first, skill and calibration after, and whether there is enough to judge."""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.forecast.priors import priors
from pipeline.forecast.scores import Bin, brier_skill, calibration, reliability, skill_se, slope_se

TEMPER_SD = (1.0, 0.5)
SURE = 1.645
"""Standard errors by which a record must be bad before it counts against the model."""


@dataclass(frozen=True)
class Picked:
    """A choice of units and what became of them."""

    units: int
    failed: int


@dataclass(frozen=True)
class DayRecord:
    """How the forecasts of one kind of day did over all seasons.

    ``too_few`` below 30 failures: then ``skill`` and ``slope`` are None. ``rule`` is "last reading out of
    tolerance"; ``same_number`` is as many units as the rule picks, taken from the top of the forecast.
    ``interval_share`` is the share of next readings inside their 90 % interval.
    """

    asked: str
    seasons: int
    units: int
    failures: int
    expected_failures: float
    left_out: int
    flagged: Picked
    others: Picked
    rule: Picked
    same_number: Picked
    top_twentieth: Picked
    too_few: bool
    skill: float | None
    skill_se: float | None
    slope: float | None
    slope_se: float | None
    bins: tuple[Bin, ...]
    readings: int
    interval_share: float | None
    causes_expected: dict[str, float]
    causes_happened: dict[str, int]


@dataclass(frozen=True)
class Record:
    """All kinds of days, and whether the record speaks against the fitted model."""

    days: tuple[DayRecord, ...]
    bad: bool
    why: str
    temper: tuple[float, float]


def summarise(units: pl.DataFrame, readings: pl.DataFrame) -> Record:
    """Return the record of a backtest's rows; rows whose outcome is unknown are counted as left out."""
    days = tuple(_day(units, readings, asked) for asked in ("decision_day", "eve") if _has(units, asked))
    eve = next((day for day in days if day.asked == "eve"), None)
    why = _fault(eve) if eve else ""
    rows = units.filter((pl.col("asked") == "eve") & pl.col("failed").is_not_null()).sort("season", "unit_id")
    temper = calibration(rows["p_failure"].to_numpy(), rows["failed"].to_numpy(), TEMPER_SD) if why else (0.0, 1.0)
    return Record(days, bool(why), why, temper)


def _has(units: pl.DataFrame, asked: str) -> bool:
    return not units.filter((pl.col("asked") == asked) & pl.col("failed").is_not_null()).is_empty()


def _day(units: pl.DataFrame, readings: pl.DataFrame, asked: str) -> DayRecord:
    rows = units.filter(pl.col("asked") == asked)
    known = rows.filter(pl.col("failed").is_not_null()).sort("season", "unit_id")
    p, failed = known["p_failure"].to_numpy(), known["failed"].to_numpy()
    failures = int(failed.sum())
    too_few = failures < int(priors()["fleet"]["failures_to_judge"])
    rule = known["last_reading_out"].to_numpy()
    flagged = known["flagged"].to_numpy()
    read = readings.filter(pl.col("asked") == asked)
    inside = read["place"].is_between(0.05, 0.95)
    return DayRecord(
        asked=asked,
        seasons=known["season"].n_unique(),
        units=len(p),
        failures=failures,
        expected_failures=float(p.sum()),
        left_out=rows.height - known.height,
        flagged=Picked(int(flagged.sum()), int(failed[flagged].sum())),
        others=Picked(int((~flagged).sum()), int(failed[~flagged].sum())),
        rule=Picked(int(rule.sum()), int(failed[rule].sum())),
        same_number=_top(known, pl.col("last_reading_out").sum()),
        top_twentieth=_top(known, (pl.len() / 20).ceil()),
        too_few=too_few,
        skill=None if too_few else brier_skill(p, failed),
        skill_se=None if too_few else skill_se(p, failed),
        slope=None if too_few else calibration(p, failed)[1],
        slope_se=None if too_few else slope_se(p, failed),
        bins=reliability(p, failed),
        readings=read.height,
        interval_share=None if read.is_empty() else float(np.mean(inside.to_numpy())),
        causes_expected=_causes(known),
        causes_happened=dict(
            known.filter("failed")
            .select(pl.col("failed_cause").fill_null("not recorded"))
            .group_by("failed_cause")
            .len()
            .sort("failed_cause")
            .iter_rows()
        ),
    )


def _top(known: pl.DataFrame, number: pl.Expr) -> Picked:
    """The units that the forecast puts first, season by season as many as ``number`` says."""
    place = pl.col("p_failure").rank("ordinal", descending=True).over("season")
    top = known.filter(place <= number.over("season"))
    return Picked(top.height, int(top["failed"].sum()))


def _causes(known: pl.DataFrame) -> dict[str, float]:
    total: dict[str, float] = {}
    for p, text in known.select("p_failure", "cause_shares").iter_rows():
        for cause, share in json.loads(text).items():
            total[cause] = total.get(cause, 0.0) + p * share
    return {cause: round(value, 2) for cause, value in sorted(total.items())}


def _fault(day: DayRecord) -> str:
    p = priors()["fleet"]
    if day.too_few:
        return ""
    if day.skill is not None and day.skill_se is not None and day.skill < -SURE * day.skill_se:
        return "the forecasts of earlier seasons did worse than the base rate"
    low, high = float(p["guard_slope_low"]), float(p["guard_slope_high"])
    if day.slope is None or day.slope_se is None:
        return ""
    if day.slope + SURE * day.slope_se < low:
        return "the odds of earlier seasons were too bold"
    if day.slope - SURE * day.slope_se > high:
        return "the odds of earlier seasons were too timid"
    return ""
