"""Failures per 100 unit-years by group, with exact limits, a rate drawn to the mean, and what may be said of it."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.forecast.exposure import expected_at_age
from pipeline.forecast.poisson_rates import dispersion, garwood, holm, p_higher, shrink
from pipeline.forecast.service import Service
from pipeline.forecast.spelling import one_spelling

RATES_SCHEMA = pl.Schema(
    {
        "group_by": pl.String,
        "group_value": pl.String,
        "units": pl.Int64,
        "unit_years": pl.Float64,
        "failures": pl.Int64,
        "rate_per_100_unit_years": pl.Float64,
        "rate_low": pl.Float64,
        "rate_high": pl.Float64,
        "shrunk_rate": pl.Float64,
        "shrunk_low": pl.Float64,
        "shrunk_high": pl.Float64,
        "expected_failures": pl.Float64,
        "expected_at_age": pl.Float64,
        "p_higher": pl.Float64,
        "higher": pl.Boolean,
        "verdict": pl.String,
        "sentence": pl.String,
    }
)
"""One row per group. Rates are per 100 unit-years, limits hold 95 %. ``expected_failures`` is what the rate of all
groups would give; ``higher`` says that the group is above the others by more than luck, all groups looked at."""

NOT_KNOWN = "not known"
UNIT_GROUPS = ("make", "model", "vintage", "refrigerant", "installed_by", "agreement")
AGE_MATTERS = ("make", "model", "refrigerant", "installed_by", "agreement")
"""Groups whose units may simply be older: they must be higher at the same ages too."""


def contributions(
    units: pl.DataFrame, sites: pl.DataFrame, service: Service, exposed: pl.DataFrame, failed: pl.DataFrame
) -> pl.DataFrame:
    """Return what each unit adds to each group it is in; ``service`` is that of its fitted parts.

    Returns
    -------
    DataFrame
        group_by, group_value, unit_id, years, failures, expected (at its ages; null where age is not compared). Units
        of which the value is not known are in the group ``not known``, so that every grouping sums to the fleet.
    """
    own = (
        exposed.join(failed.group_by("unit_id").agg(failures=pl.len()), on="unit_id", how="left")
        .join(expected_at_age(exposed, failed, units), on="unit_id", how="left")
        .join(_values(units, sites), on="unit_id", how="left")
        .with_columns(pl.col("failures").fill_null(0).cast(pl.Int64))
    )
    long = own.unpivot(
        on=list(UNIT_GROUPS),
        index=["unit_id", "years", "failures", "expected"],
        variable_name="group_by",
        value_name="group_value",
    ).with_columns(expected=pl.when(pl.col("group_by").is_in(AGE_MATTERS)).then("expected"))
    by_part_make = service.years.group_by("unit_id", "part_make").agg(pl.col("years", "failures").sum())
    columns = ["group_by", "group_value", "unit_id", "years", "failures", "expected"]
    nothing = pl.lit(None, pl.Float64)
    return pl.concat(
        [
            long.with_columns(pl.col("group_value").fill_null(NOT_KNOWN)).select(columns),
            by_part_make.with_columns(group_by=pl.lit("part_make"), group_value="part_make", expected=nothing).select(
                columns
            ),
        ]
    )


def failure_rates(shares: pl.DataFrame, exposed: pl.DataFrame, failed: pl.DataFrame) -> pl.DataFrame:
    """Return the rates of all groups.

    Parameters
    ----------
    shares : DataFrame
        ``contributions``.
    exposed, failed : DataFrame
        For the components: each has the exposure of the whole fleet.

    Returns
    -------
    DataFrame
        ``RATES_SCHEMA``, sorted by group_by and group_value. A group without exposure has no rate.

    Notes
    -----
    Higher than the others: given all failures, the group's are tested against its share of the unit-years (and of what
    the fleet's rates at the units' ages would give), with the scatter between units beyond Poisson's law taken off,
    and the p-values of one grouping are held together by Holm's steps: the chance of any false alarm in one grouping is
    at most 5 %. Measured: ``tests/benchmarks/test_rates_and_warranty.py``.
    """
    frames = [
        _one_grouping(str(name), group) for (name,), group in shares.partition_by("group_by", as_dict=True).items()
    ]
    frames.append(_components(exposed, failed))
    rows = [frame.select(list(RATES_SCHEMA)).cast(RATES_SCHEMA) for frame in frames]
    return pl.concat(rows).sort("group_by", "group_value")


def _values(units: pl.DataFrame, sites: pl.DataFrame) -> pl.DataFrame:
    agreements = sites.select("site_id", "agreement").unique("site_id")
    spelled = units
    for column in ("make", "model", "refrigerant", "installed_by"):
        spelled = one_spelling(spelled, column)
    vintage = pl.coalesce("installed_on", "manufactured_on").dt.year().cast(pl.String)
    return (
        spelled.join(agreements, on="site_id", how="left").with_columns(vintage=vintage).select("unit_id", *UNIT_GROUPS)
    )


def _one_grouping(name: str, shares: pl.DataFrame) -> pl.DataFrame:
    grouped = (
        shares.group_by("group_value")
        .agg(
            units=pl.col("unit_id").n_unique(),
            unit_years=pl.col("years").sum(),
            failures=pl.col("failures").sum(),
            expected_at_age=pl.when(pl.col("expected").is_not_null().all()).then(pl.col("expected").sum()),
        )
        .sort("group_value")
        .with_columns(group_by=pl.lit(name))
    )
    tested = grouped.filter((pl.col("group_value") != NOT_KNOWN) & (pl.col("unit_years") > 0))
    return _with_words(_with_rates(grouped).join(_compared(tested, shares), on="group_value", how="left"))


def _with_rates(grouped: pl.DataFrame) -> pl.DataFrame:
    count, years = (grouped[name].cast(pl.Float64).to_numpy() for name in ("failures", "unit_years"))
    low, high = garwood(count, years)
    middle, shrunk_low, shrunk_high = shrink(count, years)
    fleet = count.sum() / years.sum() if years.sum() > 0 else np.nan
    per_100 = {
        "rate_low": low,
        "rate_high": high,
        "shrunk_rate": middle,
        "shrunk_low": shrunk_low,
        "shrunk_high": shrunk_high,
    }
    has_years = pl.col("unit_years") > 0
    return grouped.with_columns(
        pl.when(has_years).then(100 * pl.col("failures") / pl.col("unit_years")).alias("rate_per_100_unit_years"),
        *(pl.when(has_years).then(pl.Series(100 * values)).alias(column) for column, values in per_100.items()),
        expected_failures=pl.when(has_years).then(pl.Series(fleet * years)),
    )


def _compared(tested: pl.DataFrame, shares: pl.DataFrame) -> pl.DataFrame:
    """Return p_higher and higher of the groups that can be held against each other."""
    if tested.height < 2:
        none = pl.lit(None, pl.Float64)
        return tested.select("group_value", p_higher=none, higher=pl.lit(False))
    own = shares.join(tested.select("group_value", "failures", "unit_years"), on="group_value", suffix="_all")
    mu = own["years"] * own["failures_all"] / own["unit_years"]
    scatter = dispersion(own["failures"].cast(pl.Float64).to_numpy(), mu.to_numpy(), tested.height)
    count = tested["failures"].cast(pl.Float64).to_numpy()
    p = p_higher(count, tested["unit_years"].to_numpy(), scatter)
    if tested["expected_at_age"].is_not_null().all():
        p = np.maximum(p, p_higher(count, tested["expected_at_age"].to_numpy(), scatter))
    return tested.select("group_value", p_higher=pl.Series(p), higher=pl.Series(holm(p)))


def _components(exposed: pl.DataFrame, failed: pl.DataFrame) -> pl.DataFrame:
    years = exposed["years"].sum()
    grouped = (
        failed.group_by(group_value=pl.col("cause").fill_null(NOT_KNOWN))
        .agg(failures=pl.len().cast(pl.Int64))
        .sort("group_value")
        .with_columns(
            group_by=pl.lit("component"),
            units=pl.lit(exposed.height),
            unit_years=pl.lit(years, pl.Float64),
            expected_at_age=pl.lit(None, pl.Float64),
        )
    )
    rated = _with_rates(grouped).with_columns(
        expected_failures=pl.lit(None, pl.Float64), p_higher=pl.lit(None, pl.Float64), higher=pl.lit(False)
    )
    return _with_words(rated)


def _with_words(rated: pl.DataFrame) -> pl.DataFrame:
    compared = pl.col("expected_failures").is_not_null() & pl.col("p_higher").is_not_null()
    rate, fleet = pl.col("rate_per_100_unit_years"), 100 * pl.col("expected_failures") / pl.col("unit_years")
    outside = (pl.col("rate_low") > fleet) | (pl.col("rate_high") < fleet)
    few = pl.max_horizontal(pl.col("failures").cast(pl.Float64), pl.col("expected_failures")) < FEW
    verdict = (
        pl.when(rate.is_null())
        .then(pl.lit("no unit-years, so no rate"))
        .when(~compared)
        .then(pl.lit(""))
        .when(pl.col("higher").fill_null(False))
        .then(pl.lit("higher than the others by more than luck"))
        .when(outside & (rate > fleet))
        .then(pl.lit("high, but among so many groups that may be luck or age"))
        .when(outside)
        .then(pl.lit("low, but among so many groups that may be luck or age"))
        .when(few)
        .then(pl.lit("too few to say"))
        .otherwise(pl.lit("no sign that it differs"))
    )
    seen = pl.format("{} in {} unit-years", "failures", _whole("unit_years"))
    would = pl.when(compared).then(pl.format("the fleet's rate would give {}", _whole("expected_failures")))
    said = rated.with_columns(higher=pl.col("higher").fill_null(False), verdict=verdict)
    return said.with_columns(
        sentence=pl.concat_str(seen, would, pl.col("verdict").replace("", None), separator="; ", ignore_nulls=True),
        verdict=pl.col("verdict").replace("", None),
    )


FEW = 10
"""With fewer failures seen and expected, only a manifold rate could show (engineering choice)."""


def _whole(column: str) -> pl.Expr:
    value = pl.col(column)
    return (
        pl.when(value >= 10)
        .then(value.round(0).cast(pl.Int64, strict=False).cast(pl.String).str.replace(r"(\d)(\d{3})$", "$1,$2"))
        .otherwise(value.round(1).cast(pl.String).str.strip_suffix(".0"))
    )
