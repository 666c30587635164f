"""Ratings written down as readings: more exact agreement than any meter gives."""

from __future__ import annotations

import math

import polars as pl
from scipy import special

from pipeline.enrich.capacitor_facts import BENCH, capacitor_facts
from pipeline.enrich.capacitor_ratings import NEAREST

COPIED = "rating_copied"

STEPS_UF = (1.0, 0.5, 0.1, 0.01)
"""Steps a meter, or the one who reads it, may round to [uF], coarse first."""

STEP_SHARE = 0.95
"""Share of a technician's readings that must lie on a step for it to be theirs. Engineering guess."""

ENOUGH_OTHERS = 10
"""Readings off the rating needed to tell a technician's step; with fewer the coarsest is assumed, in their favour."""

AGAIN_AND_AGAIN = 5
"""Fewer exact agreements say nothing. Engineering guess."""

SELDOM = 0.2
"""A reading that equals the rating no more often than this in honest hands tells most. Engineering guess."""

SURE = 0.001
"""Chance of accusing any one honest technician of a shop, shared among them (Bonferroni)."""


def copying(readings: pl.DataFrame) -> pl.DataFrame:
    """Return, per technician, how often a reading equals the rating and whether rounding explains that.

    Parameters
    ----------
    readings
        Capacitor readings of the whole shop with the rating in force: technician, method, is_new_part, rated_uf,
        rated_source, measured_uf (``core.capacitor_readings``). Bench readings of parts as found count.

    Returns
    -------
    polars.DataFrame
        technician, step_uf, readings, exact, expected (how many an honest one could get), p_value, copy_share (share of
        readings that must be copied), copies (Boolean); one row per technician with a reading, sorted.

    Notes
    -----
    The most favourable case is assumed: every part is exactly at its rating and only the meter's noise (one standard
    deviation ``bench_sd_pct``) and rounding to ``step_uf`` part reading and rating. Then a reading equals the rating
    with probability erf(h / (s sqrt 2)), h being half a step in percent of the rating. The number of equal readings is
    compared with a binomial of the mean probability, whose upper tail is at least that of unequal ones; once for all
    readings and once for those that honest hands seldom get equal, the smaller p-value doubled for the choice.

    References
    ----------
    W. Hoeffding, "On the distribution of the number of successes in independent trials", Annals of Mathematical
    Statistics 27 (1956), for the comparison with the binomial.
    """
    rows = _comparable(readings).with_columns(_exact().alias("exact"))
    rows = _with_chance(rows.join(_steps(rows), on="technician", how="left"))
    tests = pl.concat([_tested(rows), _tested(rows.filter(pl.col("chance") <= SELDOM))])
    sharpest = tests.sort("technician", "p_value", "readings").unique("technician", keep="first", maintain_order=True)
    share = (pl.col("exact") - pl.col("expected")) / (pl.col("readings") - pl.col("expected"))
    copies = (pl.col("exact") >= AGAIN_AND_AGAIN) & (pl.col("p_value") < SURE / max(sharpest.height, 1))
    return sharpest.with_columns(
        (pl.col("p_value") * 2).clip(upper_bound=1.0),
        pl.when(pl.col("expected") < pl.col("readings")).then(share.clip(0.0, 1.0)).otherwise(0.0).alias("copy_share"),
    ).with_columns(copies.alias("copies"))


def copied_ratings(readings: pl.DataFrame, found: pl.DataFrame) -> pl.DataFrame:
    """Return the readings that equal the rating and are likelier copied than read (``SUSPECT_SCHEMA``).

    Parameters
    ----------
    readings
        As for ``copying``, of any units.
    found
        ``copying`` over the whole shop.

    Notes
    -----
    Of a technician who copies the share c, an equal reading that an honest hand gets with probability p is copied with
    probability c / (c + (1 - c) p) or more. Where that is under one half, as on a small section read by one who copies
    now and then, the reading is believed: leaving out all equal readings would make the parts look worse than they are.
    """
    copiers = found.filter("copies").select("technician", "step_uf", "copy_share")
    equal = _with_chance(_comparable(readings).filter(_exact()).join(copiers, on="technician", how="inner"))
    copied, read = pl.col("copy_share"), (1 - pl.col("copy_share")) * pl.col("chance")
    return equal.filter(copied >= read).select(
        "visit_id",
        "unit_id",
        pl.format("{}_uf", "section").alias("field"),
        pl.lit(COPIED).alias("reason"),
        pl.lit("equals the rating, more often than readings by the same hand can").alias("message"),
    )


def _tested(rows: pl.DataFrame) -> pl.DataFrame:
    """Return technician, step_uf, readings, exact, expected and the one-sided p_value of that many equal readings."""
    counted = rows.group_by("technician").agg(
        pl.col("step_uf").first(),
        pl.len().cast(pl.Int64).alias("readings"),
        pl.col("exact").sum().cast(pl.Int64),
        pl.col("chance").sum().alias("expected"),
    )
    count, exact = counted["readings"].to_numpy(), counted["exact"].to_numpy()
    # P(X >= exact) = P(X > exact - 1); none or more is certain.
    tail = special.bdtrc(exact - 1.0, count, counted["expected"].to_numpy() / count)
    certain = pl.col("exact") == 0
    return counted.with_columns(pl.Series("p_value", tail, pl.Float64)).with_columns(
        pl.when(certain).then(1.0).otherwise("p_value").alias("p_value")
    )


def _with_chance(rows: pl.DataFrame) -> pl.DataFrame:
    """Return the rows with ``chance``, the probability that an honest reading of a good part equals the rating."""
    half_pct = 50 * pl.col("step_uf") / pl.col("rated_uf")
    spreads = rows.select(half_pct / (capacitor_facts().noise_sd_pct[BENCH] * math.sqrt(2))).to_series().to_numpy()
    return rows.with_columns(pl.Series("chance", special.erf(spreads), pl.Float64))


def _comparable(readings: pl.DataFrame) -> pl.DataFrame:
    return readings.filter(
        (pl.col("method") == BENCH)
        & ~pl.col("is_new_part")
        & (pl.col("rated_uf") > 0)
        & (pl.col("measured_uf") > 0)
        & pl.col("technician").is_not_null()
        # A rating guessed from the reading itself agrees with it for no one's fault.
        & (pl.col("rated_source") != NEAREST)
    )


def _exact() -> pl.Expr:
    return (pl.col("measured_uf") - pl.col("rated_uf")).abs() < 1e-6


def _steps(rows: pl.DataFrame) -> pl.DataFrame:
    """Return technician and step_uf [uF], the coarsest step that nearly all readings off the rating lie on."""
    on_step = [
        ((pl.col("measured_uf") / step - (pl.col("measured_uf") / step).round()).abs() < 1e-6).mean() >= STEP_SHARE
        for step in STEPS_UF[:-1]
    ]
    coarsest = pl.coalesce(
        *(pl.when(fits).then(step) for fits, step in zip(on_step, STEPS_UF, strict=False)), STEPS_UF[-1]
    )
    told = (
        rows.filter(~pl.col("exact"))
        .group_by("technician")
        .agg(pl.when(pl.len() >= ENOUGH_OTHERS).then(coarsest).otherwise(STEPS_UF[0]).alias("step_uf"))
    )
    everyone = rows.select("technician").unique()
    return everyone.join(told, on="technician", how="left").with_columns(pl.col("step_uf").fill_null(STEPS_UF[0]))
