"""Ratings written down as readings: more exact agreement than any meter gives."""

from __future__ import annotations

import math

import polars as pl
from scipy import special

from pipeline.checks.check import SUSPECT_SCHEMA
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
        technician, readings, exact, expected (how many an honest one could get), step_uf, p_value, copies (Boolean);
        one row per technician with a reading, sorted.

    Notes
    -----
    The most favourable case is assumed: every part is exactly at its rating and only the meter's noise (one standard
    deviation ``bench_sd_pct``) and rounding to ``step_uf`` part reading and rating. Then a reading equals the rating
    with probability erf(h / (s sqrt 2)), h being half a step in percent of the rating. The number of equal readings is
    compared with a binomial of the mean probability, whose upper tail is at least that of unequal ones.

    References
    ----------
    W. Hoeffding, "On the distribution of the number of successes in independent trials", Annals of Mathematical
    Statistics 27 (1956), for the comparison with the binomial.
    """
    rows = _comparable(readings).with_columns(_exact().alias("exact"))
    rows = rows.join(_steps(rows), on="technician", how="left")
    noise_pct = capacitor_facts().noise_sd_pct[BENCH]
    half_pct = 50 * pl.col("step_uf") / pl.col("rated_uf")
    chance = pl.Series("chance", special.erf(rows.select(half_pct / (noise_pct * math.sqrt(2))).to_series().to_numpy()))
    counted = (
        rows.with_columns(chance)
        .group_by("technician")
        .agg(
            pl.len().cast(pl.Int64).alias("readings"),
            pl.col("exact").sum().cast(pl.Int64),
            pl.col("chance").sum().alias("expected"),
            pl.col("step_uf").first(),
        )
        .sort("technician")
    )
    count, exact = counted["readings"].to_numpy(), counted["exact"].to_numpy()
    mean = counted["expected"].to_numpy() / count if counted.height else counted["expected"].to_numpy()
    # P(X >= exact); at exact = 0 that is certain, where the function wants one success more.
    tail = special.bdtrc(exact - 1.0, count, mean) if counted.height else mean
    return counted.with_columns(
        pl.when(pl.col("exact") == 0).then(1.0).otherwise(pl.Series("p_value", tail, pl.Float64)).alias("p_value")
    ).with_columns(
        ((pl.col("exact") >= AGAIN_AND_AGAIN) & (pl.col("p_value") < SURE / max(counted.height, 1))).alias("copies")
    )


def copied_ratings(readings: pl.DataFrame, found: pl.DataFrame) -> pl.DataFrame:
    """Return the readings that equal the rating, of the technicians who copy (``SUSPECT_SCHEMA``).

    Parameters
    ----------
    readings
        As for ``copying``, of any units.
    found
        ``copying`` over the whole shop.
    """
    copiers = found.filter("copies").select("technician")
    hit = _comparable(readings).filter(_exact()).join(copiers, on="technician", how="semi")
    return hit.select(
        "visit_id",
        "unit_id",
        pl.format("{}_uf", "section").alias("field"),
        pl.lit(COPIED).alias("reason"),
        pl.lit("equals the rating, more often than readings by the same hand can").alias("message"),
    ).cast(SUSPECT_SCHEMA)  # type: ignore[arg-type]


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
