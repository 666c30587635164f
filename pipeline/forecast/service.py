"""How long each fitted part of a known make was in service, and the failures put down to it."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipeline.enrich.part_slots import in_slots
from pipeline.forecast.exposure import DAYS_PER_YEAR
from pipeline.forecast.spelling import one_spelling


@dataclass(frozen=True)
class Service:
    """What fitted parts of a known make did.

    Attributes
    ----------
    years : DataFrame
        unit_id, part_make, part, years [year], failures; one row per unit, make and part.
    failed : DataFrame
        unit_id, visit_id, part_make, part: the calls put down to them, one row each.
    """

    years: pl.DataFrame
    failed: pl.DataFrame


def parts_in_service(parts: pl.DataFrame, exposed: pl.DataFrame, failed: pl.DataFrame) -> Service:
    """Return years in service and failures of the fitted parts by make.

    Parameters
    ----------
    parts : DataFrame
        As ``store.history.parts_of`` gives them; part_make, part and the section ratings are read.
    exposed, failed : DataFrame
        ``exposure`` and ``counted_failures`` of the units.

    Notes
    -----
    A failure of a part is a no_cooling visit whose cause it is, after it was fitted and until the next of its kind
    was. Parts without a make are left out. A capacitor serves the sections whose rating its row names, all of them
    where it names none; two singles of one make on one unit count once.
    """
    chain = ["unit_id", "part", "slot"]
    same = pl.all_horizontal(pl.col(name) == pl.col(name).shift(-1) for name in chain)
    fitted = (
        in_slots(one_spelling(parts, "part_make"))
        .sort(*chain, "visit_date", "visit_id", "row_n")
        .unique([*chain, "visit_date"], keep="last", maintain_order=True)
        .with_columns(next_on=pl.when(same).then(pl.col("visit_date").shift(-1)))
        .filter(pl.col("part_make").is_not_null())
        .join(exposed.select("unit_id", "from_on", "until_on"), on="unit_id", how="inner")
        .with_columns(start=pl.max_horizontal("visit_date", "from_on"), end=pl.min_horizontal("next_on", "until_on"))
        .filter(pl.col("end") > pl.col("start"))
    )
    spans = _merged(fitted.select("unit_id", "part_make", "part", "start", "end"))
    hits = (
        spans.join(
            failed.select("unit_id", "visit_id", part="cause", failed_on="visit_date"),
            on=["unit_id", "part"],
            how="inner",
        )
        .filter((pl.col("failed_on") > pl.col("start")) & (pl.col("failed_on") <= pl.col("end")))
        .select("unit_id", "visit_id", "part_make", "part")
        .unique()
        .sort("unit_id", "visit_id", "part_make", "part")
    )
    counted = hits.group_by("unit_id", "part_make", "part").agg(failures=pl.len())
    years = (
        spans.group_by("unit_id", "part_make", "part")
        .agg(years=(pl.col("end") - pl.col("start")).dt.total_days().sum() / DAYS_PER_YEAR)
        .join(counted, on=["unit_id", "part_make", "part"], how="left")
        .with_columns(pl.col("failures").fill_null(0).cast(pl.Int64))
        .sort("unit_id", "part_make", "part")
    )
    return Service(years, hits)


def _merged(spans: pl.DataFrame) -> pl.DataFrame:
    """Return the spans of one unit, make and part with overlaps joined; only sections of capacitors may overlap."""
    key = ["unit_id", "part_make"]
    several = pl.col("part") == "run_capacitor"
    ordered = spans.filter(several).sort(*key, "start", "end")
    if ordered.is_empty():
        return spans
    reached = pl.col("end").cum_max().shift(1).over(key)
    fresh = (pl.col("start") > reached).fill_null(True)
    joined = (
        ordered.with_columns(run=fresh.cum_sum())
        .group_by(*key, "part", "run")
        .agg(pl.col("start").min(), pl.col("end").max())
    )
    return pl.concat([spans.filter(~several), joined.select(spans.columns)])
