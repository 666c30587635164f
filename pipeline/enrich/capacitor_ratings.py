"""The rating in force for every part of a section, and where it is known from."""

from __future__ import annotations

import polars as pl

from pipeline.enrich.capacitor_facts import SECTIONS, CapacitorFacts

REGISTER, PART, NOTES, MODEL, NEAREST = "register", "part", "notes", "model", "nearest_size"
SECTION = ["unit_id", "section"]


def registered_ratings(units: pl.DataFrame) -> pl.DataFrame:
    """Return unit_id, section, registered_uf [uF, 0 = no such section], registered_tolerance_pct, registered_volts."""
    return pl.concat(
        units.select(
            "unit_id",
            section=pl.lit(section),
            registered_uf=pl.col(f"cap_{section}_uf"),
            registered_tolerance_pct=pl.col("cap_tolerance_pct"),
            registered_volts=pl.col("cap_volts"),
        )
        for section in SECTIONS
    )


def told_ratings(units: pl.DataFrame) -> pl.DataFrame:
    """Return unit_id, section, told_uf [uF]: the label as a technician's note last told it, null where none does."""
    return pl.concat(
        units.select(
            "unit_id",
            section=pl.lit(section),
            told_uf=pl.col(f"told_cap_{section}_uf")
            if f"told_cap_{section}_uf" in units.columns
            else pl.lit(None, dtype=pl.Float64),
        )
        for section in SECTIONS
    )


def model_ratings(units: pl.DataFrame) -> pl.DataFrame:
    """Return model, section, model_uf: the rating most units of one model in this shop carry (ties: the smaller).

    A label that only a note tells (``told_cap_*_uf``) counts where the register has none.
    """
    return (
        registered_ratings(units)
        .join(told_ratings(units), on=SECTION)
        .join(units.select("unit_id", "model"), on="unit_id")
        .with_columns(label_uf=pl.coalesce("registered_uf", "told_uf"))
        .filter(pl.col("model").is_not_null() & (pl.col("label_uf") > 0))
        .group_by("model", "section", "label_uf")
        .len()
        .sort("model", "section", "len", "label_uf", descending=[False, False, True, False])
        .group_by("model", "section", maintain_order=True)
        .agg(model_uf=pl.col("label_uf").first())
    )


def rate_parts(rows: pl.DataFrame, units: pl.DataFrame, models: pl.DataFrame, facts: CapacitorFacts) -> pl.DataFrame:
    """Add the rating in force to readings and replacements.

    Parameters
    ----------
    rows
        Output of ``cut_at_replacements``: readings and replacements with part_n, fitted_uf and measured_uf.
    units
        Register of the units in ``rows``.
    models
        Output of ``model_ratings`` over the whole shop.

    Returns
    -------
    pl.DataFrame
        ``rows`` with rated_uf, rated_source, tolerance_pct, volts, part_make. A rating of 0 (no such section)
        gives null: no basis. Order of trust: the part fitted, the label on the register, the part fitted
        later in the same place (like for like), the label as a note tells it (``told_cap_*_uf`` of the units), the
        same model in this shop unless the section reads beyond it (no part gains capacitance), the nearest preferred
        size to the first reading of the section.
    """
    order = ["visit_date", "visit_id", "step"]
    first_size = (
        rows.filter(pl.col("measured_uf") > 0)
        .sort(order)
        .group_by(SECTION, maintain_order=True)
        .agg(first_uf=pl.col("measured_uf").max())
        .with_columns(nearest_uf=_nearest(facts))
    )
    known = (
        rows.join(registered_ratings(units), on=SECTION, how="left", maintain_order="left")
        .join(told_ratings(units), on=SECTION, how="left", maintain_order="left")
        .join(units.select("unit_id", "model"), on="unit_id", how="left", maintain_order="left")
        .join(models, on=["model", "section"], how="left", maintain_order="left")
        .join(first_size, on=SECTION, how="left", maintain_order="left")
        .with_columns(
            model_uf=pl.when(
                (pl.col("first_uf") <= pl.col("model_uf") * (1 + facts.default_tolerance_pct / 100)).fill_null(True)
            ).then("model_uf"),
            in_force=pl.col("fitted_uf").forward_fill().over(SECTION, order_by=order),
            later=pl.col("fitted_uf").backward_fill().over(SECTION, order_by=order),
            make_in_force=pl.col("fitted_make").forward_fill().over([*SECTION, "part_n"], order_by=order),
            tolerance_in_force=pl.col("fitted_tolerance_pct").forward_fill().over(SECTION, order_by=order),
            volts_in_force=pl.col("fitted_volts").forward_fill().over(SECTION, order_by=order),
        )
    )
    rated = pl.coalesce("in_force", "registered_uf", "later", "told_uf", "model_uf", "nearest_uf")
    source = (
        pl.when(pl.col("in_force").is_not_null())
        .then(pl.lit(PART))
        .when(pl.col("registered_uf").is_not_null())
        .then(pl.lit(REGISTER))
        .when(pl.col("later").is_not_null())
        .then(pl.lit(PART))
        .when(pl.col("told_uf").is_not_null())
        .then(pl.lit(NOTES))
        .when(pl.col("model_uf").is_not_null())
        .then(pl.lit(MODEL))
        .when(pl.col("nearest_uf").is_not_null())
        .then(pl.lit(NEAREST))
    )
    return known.with_columns(
        rated_uf=pl.when(rated > 0).then(rated),
        rated_source=pl.when(rated > 0).then(source),
        tolerance_pct=pl.coalesce(
            "tolerance_in_force", "registered_tolerance_pct", pl.lit(facts.default_tolerance_pct)
        ),
        volts=pl.coalesce("volts_in_force", "registered_volts"),
        part_make=pl.col("make_in_force"),
    ).select(*rows.columns, "rated_uf", "rated_source", "tolerance_pct", "volts", "part_make")


def _nearest(facts: CapacitorFacts) -> pl.Expr:
    """Return the preferred size nearest to ``first_uf``: a worn part reads low, so ties go to the larger."""
    chosen: pl.Expr = pl.lit(None, dtype=pl.Float64)
    for section in SECTIONS:
        sizes = pl.lit(pl.Series(facts.preferred_uf[section]).implode())
        gap = sizes.list.eval(pl.element())  # one list per row
        distance = (gap - pl.col("first_uf")).list.eval(pl.element().abs())
        nearest = gap.list.get(distance.list.arg_min())
        chosen = pl.when(pl.col("section") == section).then(nearest).otherwise(chosen)
    return chosen
