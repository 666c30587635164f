"""Learning from the shop's own seasons which units failed."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.forecast.causes import learn_base_causes
from pipeline.forecast.failures import failures, outcomes
from pipeline.forecast.heat import learn_heat
from pipeline.forecast.history import History
from pipeline.forecast.params import SectionParams, UnitParams
from pipeline.forecast.priors import priors
from pipeline.forecast.seasons import (
    MONTHS,
    Days,
    Season,
    default_profile,
    finished_seasons,
    learn_profile,
    shaped_profile,
    share_between,
)
from pipeline.forecast.sections_inputs import years
from pipeline.forecast.units_additive import (
    COMPONENTS,
    FACTORS,
    Exposure,
    components,
    fit_additive,
    prior_sds,
    starter_level,
)
from pipeline.forecast.units_combine import learn_draw_in
from pipeline.forecast.units_features import Compressor, UnitFeatures, fit_compressor, unit_features
from pipeline.forecast.units_proportional import design, fit_proportional, log_hazard, prior_table

Floats = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

MOST_SEASONS = 6
LEAST_UNITS_OF_A_MAKE = 8
MOST_MAKES = 30
DEFAULT_AGE_YEARS = 9.0
"""Past seasons learned from; units from which a make has an effect of its own, and how many makes may; age where no
unit's is known, weighing as much as ten units (engineering choices)."""


@dataclass(frozen=True, eq=False)
class Training:
    """Features and outcomes of past unit-seasons, and the cause of each failure among them."""

    features: UnitFeatures
    seen: Exposure
    causes: pl.Series


def fit_units(
    history: History,
    sections: SectionParams,
    through: dt.date,
    start: str,
    end: str,
    unseen_months: int,
    degree_days: pl.DataFrame | None = None,
) -> UnitParams:
    """Return the failure models' parameters from rows up to ``through``, the end of a finished season.

    Parameters
    ----------
    history
        Tidy frames, cut at ``through``.
    start, end
        The season, month and day.
    unseen_months
        After that long without a visit a unit is no longer counted as exposed.
    degree_days
        Heat of past seasons (``HEAT_SCHEMA``), if the shop keeps it: a hot season then counts as more than one
        season of exposure, a mild one as less.
    """
    p = priors()["fleet"]
    makes = _makes(history)
    median_age = _median_age(history)
    compressor = fit_compressor(history)
    month_factors = _month_factors(history, start, end)
    profile = shaped_profile(_default(start, end), month_factors)
    first = history.visits["visit_date"].min()
    seasons = finished_seasons(first, through, start, end)[-MOST_SEASONS:] if isinstance(first, dt.date) else []
    watched = [
        (one, training_season(history, sections, one, profile, median_age, compressor, makes, unseen_months))
        for one in seasons
    ]
    watched = [(one, training) for one, training in watched if len(training.features)]
    heat, factors = learn_heat(
        [one for one, _ in watched],
        np.array([training.seen.failed.sum() for _, training in watched], dtype=np.float64),
        np.array([training.seen.share.sum() for _, training in watched], dtype=np.float64),
        degree_days,
    )
    past = [_at_heat(training, factor) for (_, training), factor in zip(watched, factors, strict=True)]
    count = len(makes)
    shape = len(FACTORS) + count
    failed = sum(int(one.seen.failed.sum()) for one in past)
    unit_seasons = sum(float(one.seen.share.sum()) for one in past)
    weight = float(p["pseudo_unit_seasons"])
    rate = (failed + float(p["rate_per_season"]) * weight) / (unit_seasons + weight)
    x: UnitFeatures | None = None
    if past:
        x = stack([one.features for one in past])
        seen = _join([one.seen for one in past])
        level = starter_level(x, rate)
        additive, proportional = fit_additive(x, seen, count, level), fit_proportional(x, seen, count, rate)
        theta, theta_cov = additive.theta, additive.covariance
        beta, beta_cov = proportional.theta, proportional.covariance
        hazards = components(x, theta, seen.make)[0]
        log_h = 0.5 * np.log(hazards.sum(axis=1)) + 0.5 * log_hazard(design(x, seen.make, count), beta)
    else:
        x = unit_features(history, sections, through, through, median_age, compressor) if history.units.height else None
        theta, theta_cov = np.zeros(shape), np.diag(prior_sds(count) ** 2)
        beta, sd = prior_table(count)
        beta_cov = np.diag(sd**2)
        level = starter_level(x, rate) if x is not None else 0.0
        theta[0] = level
        log_h = np.log(components(x, theta, np.full(len(x), -1))[0].sum(axis=1)) if x is not None else np.zeros(0)
        hazards = np.zeros((0, len(COMPONENTS)))
    exposed = hazards * (seen.share[:, None] if past else 1.0)
    causes = pl.concat([one.causes for one in past]) if past else pl.Series("failed_cause", [], dtype=pl.String)
    return UnitParams(
        mode="fitted" if past else "starter",
        additive=tuple(float(v) for v in theta),
        additive_cov=tuple(tuple(float(v) for v in row) for row in theta_cov),
        proportional=tuple(float(v) for v in beta),
        proportional_cov=tuple(tuple(float(v) for v in row) for row in beta_cov),
        makes=makes,
        month_factors=month_factors,
        median_age_years=median_age,
        load_mean=compressor.mean,
        load_effects=(compressor.per_ten_degrees, compressor.per_volt_share),
        season_sd=float(p["season_effect_sd"]),
        heat=heat,
        base_causes=learn_base_causes(exposed, causes),
        draw_in=learn_draw_in(log_h, failed, rate),
        temper=(0.0, 1.0),
        rate_per_season=rate,
        unit_seasons=unit_seasons,
        failures=failed,
    )


def training_season(
    history: History,
    sections: SectionParams,
    one: Season,
    profile: Days,
    median_age: float,
    compressor: Compressor,
    makes: tuple[str, ...],
    unseen_months: int,
) -> Training:
    """Return features as known on the season's eve and what happened until its end.

    Units enter with their first visit (delayed entry) and leave after ``unseen_months`` without one. A part
    replaced or charge added without a failure ends the exposure on that day.
    """
    known = history.through(one.eve)
    x = unit_features(known, sections, one.eve, one.middle, median_age, compressor)
    end = one.end
    facts = x.frame.select("unit_id", "last_visit_on", "retired_on").join(
        outcomes(history.visits, history.parts, history.units, one.eve, end),
        on="unit_id",
        how="left",
        maintain_order="left",
    )
    failed = (
        facts.select(
            pl.col("failed_on").is_not_null()
            & (pl.col("changed_on").is_null() | (pl.col("failed_on") <= pl.col("changed_on")))
        )
        .to_series()
        .to_numpy()
    )
    whole = share_between(profile, one.start, end)
    until = [end if day is None else day for day in facts["changed_on"].to_list()]
    share = np.array([share_between(profile, one.start, min(day, end)) / whole for day in until])
    share = np.where(failed, 1.0, share)
    unseen = (pl.lit(one.eve) - pl.col("last_visit_on")).dt.total_days() > unseen_months * 30.44
    out = facts.select(unseen | pl.col("retired_on").is_not_null()).to_series().to_numpy()
    keep = np.flatnonzero(~out & (share > 0.01))
    x = take(x, keep)
    seen = Exposure(failed[keep], share[keep], make_index(x, makes), np.ones(len(keep)))
    return Training(x, seen, facts["failed_cause"][keep].filter(pl.Series(failed[keep])))


def _at_heat(training: Training, factor: float) -> Training:
    seen = dataclasses.replace(training.seen, share=training.seen.share * factor)
    return dataclasses.replace(training, seen=seen)


def take(x: UnitFeatures, rows: Index) -> UnitFeatures:
    """Return the features of the rows at those positions."""
    return UnitFeatures(
        x.frame[rows],
        {s: a[rows] for s, a in x.below.items()},
        {s: a[rows] for s, a in x.level.items()},
        {s: a[rows] for s, a in x.sd.items()},
        {s: a[rows] for s, a in x.numbers.items()},
        x.make[rows],
    )


def stack(parts: list[UnitFeatures]) -> UnitFeatures:
    """Return the features of several seasons one below the other."""
    first = parts[0]
    return UnitFeatures(
        pl.concat([one.frame for one in parts]),
        {s: np.concatenate([one.below[s] for one in parts]) for s in first.below},
        {s: np.concatenate([one.level[s] for one in parts]) for s in first.level},
        {s: np.concatenate([one.sd[s] for one in parts]) for s in first.sd},
        {s: np.concatenate([one.numbers[s] for one in parts]) for s in first.numbers},
        np.concatenate([one.make for one in parts]),
    )


def make_index(x: UnitFeatures, makes: tuple[str, ...]) -> Index:
    """Return each unit's position among ``makes``, -1 where it has no effect of its own."""
    position = {name: i for i, name in enumerate(makes)}
    return np.array([position.get(str(name), -1) for name in x.make], dtype=np.int64)


def _join(parts: list[Exposure]) -> Exposure:
    return Exposure(
        np.concatenate([one.failed for one in parts]),
        np.concatenate([one.share for one in parts]),
        np.concatenate([one.make for one in parts]),
        np.concatenate([one.weight for one in parts]),
    )


def _makes(history: History) -> tuple[str, ...]:
    counts = (
        history.units.select(make=pl.col("make").str.to_lowercase())
        .filter(pl.col("make").str.len_chars() > 0)
        .group_by("make")
        .len()
        .filter(pl.col("len") >= LEAST_UNITS_OF_A_MAKE)
        .sort(["len", "make"], descending=[True, False])
    )
    return tuple(sorted(counts["make"].head(MOST_MAKES).to_list()))


def _median_age(history: History) -> float:
    ages = history.units.select(age=years("last_visit_on") - years("installed_on")).filter(pl.col("age") >= 0)["age"]
    n, median = len(ages), ages.median()
    return (n * median + 10 * DEFAULT_AGE_YEARS) / (n + 10) if isinstance(median, float) else DEFAULT_AGE_YEARS


def _default(start: str, end: str) -> Days:
    return default_profile(start, end, float(priors()["time"]["share_in_season"]))


def _month_factors(history: History, start: str, end: str) -> tuple[float, ...]:
    months = failures(history.visits)["visit_date"].dt.month().to_numpy()
    counts = np.bincount(months.astype(np.int64) - 1, minlength=MONTHS).astype(np.float64)
    return learn_profile(_default(start, end), counts, float(priors()["time"]["profile_pseudo_failures"]))
