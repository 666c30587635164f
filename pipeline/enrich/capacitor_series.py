"""Series: the readings of one part in one section, cut at every replacement, stated or inferred."""

from __future__ import annotations

import polars as pl

from pipeline.enrich.capacitor_facts import CapacitorFacts
from pipeline.enrich.capacitor_values import AFTER, EVENT, FOUND, VISIT_ORDER

SECTION = ["unit_id", "section"]
SERIES = ["unit_id", "section", "part_n"]
NOISE_SPREADS = 2.5
"""A rise must also exceed this many standard deviations of the two readings' difference; at two bench
readings that is the 6 % label tolerance, under load it is wider. Engineering guess, no source."""

MAYBE_NEW_PART = "may_be_new_part"
UNEXPLAINED_RISE = "rise_without_replacement"


def cut_at_replacements(values: pl.DataFrame, events: pl.DataFrame) -> pl.DataFrame:
    """Return readings and replacements in one ordered frame with ``part_n``, the n-th stated part.

    The reading as found on a visit with a replacement belongs to the part taken out.
    """
    both = pl.concat([values, events.with_columns(cause=pl.lit(None, dtype=pl.String))], how="diagonal")
    return both.sort(VISIT_ORDER).with_columns(
        part_n=(pl.col("step") == EVENT).cast(pl.Int32).cum_sum().over(SECTION, order_by=VISIT_ORDER[2:]) + 1
    )


def infer_replacements(
    readings: pl.DataFrame, repairs: pl.DataFrame, facts: CapacitorFacts, *, passes: int = 3
) -> pl.DataFrame:
    """Return the readings with ``inferred_on``, ``known_on`` and ``suspect`` for rises that no part row explains.

    Parameters
    ----------
    readings
        Rows of ``cut_at_replacements`` that are readings, with drift_pct and tolerance_pct of the rating
        believed in force and ``suspect`` (null where nothing is held against the reading).
    repairs
        unit_id, visit_date of the visits whose cause is run_capacitor.
    facts
        Noise per method.

    Returns
    -------
    pl.DataFrame
        As ``readings``; ``inferred_on`` is the date a new part must have been fitted (null elsewhere), ``known_on``
        the date from which the records say so: the agreeing reading's, else the rise's own.

    Notes
    -----
    A rise beyond tolerance with no part recorded starts a new series if a visit since the last reading
    names run_capacitor as the cause, or if the next reading agrees; else the reading is suspect.
    """
    frame = readings.with_columns(inferred_on=pl.lit(None, dtype=pl.Date), known_on=pl.lit(None, dtype=pl.Date))
    for _ in range(passes):
        marked = _mark_rises(frame, repairs, facts)
        if marked.get_column("suspect").null_count() == frame.get_column("suspect").null_count():
            return marked
        frame = marked
    return frame


def _mark_rises(frame: pl.DataFrame, repairs: pl.DataFrame, facts: CapacitorFacts) -> pl.DataFrame:
    usable = frame.filter(pl.col("suspect").is_null() & pl.col("drift_pct").is_not_null())
    order = ["visit_date", "visit_id", "step"]
    noise = pl.col("method").replace_strict(dict(facts.noise_sd_pct), default=None, return_dtype=pl.Float64)
    usable = usable.with_columns(noise=noise).with_columns(
        before=pl.col("drift_pct").shift(1).over(SERIES, order_by=order),
        before_on=pl.col("visit_date").shift(1).over(SERIES, order_by=order),
        before_noise=pl.col("noise").shift(1).over(SERIES, order_by=order),
        after=pl.col("drift_pct").shift(-1).over(SERIES, order_by=order),
        after_on=pl.col("visit_date").shift(-1).over(SERIES, order_by=order),
        after_noise=pl.col("noise").shift(-1).over(SERIES, order_by=order),
    )
    limit = pl.max_horizontal(
        "tolerance_pct", NOISE_SPREADS * (pl.col("noise").pow(2) + pl.col("before_noise").pow(2)).sqrt()
    )
    agrees = (pl.col("after") - pl.col("drift_pct")).abs() <= pl.max_horizontal(
        "tolerance_pct", NOISE_SPREADS * (pl.col("noise").pow(2) + pl.col("after_noise").pow(2)).sqrt()
    )
    rises = usable.filter((pl.col("drift_pct") - pl.col("before")).round(2) > limit.round(2)).with_columns(
        agrees=agrees.fill_null(False)
    )
    # The repair that explains a rise lies between the two readings, both days included.
    repaired = (
        rises.select(*SECTION, "visit_id", "step", "before_on", seen_on="visit_date")
        .join(repairs.select("unit_id", repaired_on="visit_date"), on="unit_id")
        .filter(pl.col("repaired_on").is_between("before_on", "seen_on"))
        .group_by(*SECTION, "visit_id", "step")
        .agg(pl.col("repaired_on").max())
    )
    verdict = (
        rises.join(repaired, on=[*SECTION, "visit_id", "step"], how="left")
        .with_columns(
            rise_on=pl.when(pl.col("repaired_on").is_not_null())
            .then("repaired_on")
            .when("agrees")
            .then(pl.col("visit_date")),
            rise_known_on=pl.when(pl.col("repaired_on").is_null() & pl.col("agrees"))
            .then("after_on")
            .otherwise("visit_date"),
        )
        .select(*SECTION, "visit_id", "step", "rise_on", "rise_known_on", is_rise=pl.lit(True))
    )
    return (
        frame.join(verdict, on=[*SECTION, "visit_id", "step"], how="left", maintain_order="left")
        .with_columns(
            inferred_on=pl.coalesce("rise_on", "inferred_on"),
            known_on=pl.when(pl.col("rise_on").is_not_null()).then("rise_known_on").otherwise("known_on"),
            suspect=pl.when(pl.col("is_rise") & pl.col("rise_on").is_null() & pl.col("inferred_on").is_null())
            .then(pl.lit(UNEXPLAINED_RISE))
            .otherwise(pl.col("suspect")),
        )
        .drop("rise_on", "rise_known_on", "is_rise")
    )


def mark_maybe_new(readings: pl.DataFrame, events: pl.DataFrame) -> pl.DataFrame:
    """Mark as suspect an as-found reading inside tolerance on the visit of a replacement.

    It may be the new part's, unless the new part's own reading stands beside it.
    """
    keys = ["unit_id", "visit_id", "section"]
    replaced = events.select(keys).unique().with_columns(replaced=pl.lit(True))
    with_after = readings.filter(pl.col("step") == AFTER).select(keys).unique().with_columns(has_after=pl.lit(True))
    inside = pl.col("drift_pct").round(2).abs() <= pl.col("tolerance_pct")
    return (
        readings.join(replaced, on=keys, how="left", maintain_order="left")
        .join(with_after, on=keys, how="left", maintain_order="left")
        .with_columns(
            at_replacement=(pl.col("replaced").fill_null(False) & (pl.col("step") == FOUND)),
        )
        .with_columns(
            suspect=pl.when(
                pl.col("suspect").is_null() & pl.col("at_replacement") & pl.col("has_after").is_null() & inside
            )
            .then(pl.lit(MAYBE_NEW_PART))
            .otherwise(pl.col("suspect"))
        )
        .drop("replaced", "has_after")
    )
