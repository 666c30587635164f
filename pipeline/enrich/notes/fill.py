"""Blanks of typed columns filled with what the notes tell; a typed value is never touched."""

from __future__ import annotations

import polars as pl

from pipeline.enrich.capacitor_facts import SECTIONS
from pipeline.enrich.notes.sections import FITTED, OBSERVATION, PART, RATING, READING
from pipeline.fields import registry

RAW_FOR = {
    "recorded_superheat_f": ("suction_psig", "suction_line_f"),
    "recorded_subcooling_f": ("liquid_psig", "liquid_line_f"),
    "recorded_split_f": ("return_db_f", "supply_db_f"),
}
"""Computed values by the readings they follow from: where those are typed, a note's value fills nothing."""

_ROW = ["unit_id", "visit_id"]


def fill_from_notes(visits: pl.DataFrame, mined: pl.DataFrame) -> pl.DataFrame:
    """Return the visits with blanks filled and ``from_notes``, the list of the fields so filled (empty: none).

    Parameters
    ----------
    visits
        unit_id, visit_id and fields of visits; a reading field that is absent is added where a note tells it.
    mined
        Output of ``mine``; only attributed readings and observations fill.

    Returns
    -------
    pl.DataFrame
        Same rows in the same order. A wet bulb above its dry bulb, and a liquid pressure not above suction, are filled
        neither. Observations fill where the column is blank.
    """
    told = _wide(mined)
    fields = [name for name in told.columns if name not in _ROW]
    if told.is_empty() or not fields:
        return visits.with_columns(from_notes=pl.lit([], dtype=pl.List(pl.String)))
    absent = [
        pl.lit(None, dtype=pl.String if name == "observations" else pl.Float64).alias(name)
        for name in fields
        if name not in visits.columns
    ]
    joined = visits.with_columns(absent).join(told, on=_ROW, how="left", maintain_order="left", suffix="_told")
    usable = {name: pl.col(name).is_null() & pl.col(f"{name}_told").is_not_null() for name in fields}
    for name, raw in RAW_FOR.items():
        if name in usable and all(column in visits.columns for column in raw):
            usable[name] = usable[name] & pl.any_horizontal(pl.col(column).is_null() for column in raw)
    for low, high in (("return_wb_f", "return_db_f"), ("suction_psig", "liquid_psig")):
        if low in usable or high in usable:
            apart = (_after(low, usable, joined) < _after(high, usable, joined)).fill_null(True)
            usable = {name: use & apart if name in {low, high} else use for name, use in usable.items()}
    return joined.with_columns(
        *(pl.when(use).then(f"{name}_told").otherwise(name).alias(name) for name, use in usable.items()),
        from_notes=pl.concat_list(pl.when(use).then(pl.lit(name)) for name, use in usable.items()).list.drop_nulls(),
    ).drop(f"{name}_told" for name in fields)


def _after(name: str, usable: dict[str, pl.Expr], joined: pl.DataFrame) -> pl.Expr:
    if name in usable:
        return pl.coalesce(name, f"{name}_told")
    return pl.col(name) if name in joined.columns else pl.lit(None, dtype=pl.Float64)


def _wide(mined: pl.DataFrame) -> pl.DataFrame:
    """Return one row per unit and visit with a column per field that is told and the unit's."""
    ours = mined.filter("attributed")
    measures = registry()["visits"].fields
    readings = ours.filter((pl.col("kind") == READING) & pl.col("field").is_in(list(measures)))
    seen = (
        ours.filter(pl.col("kind") == OBSERVATION)
        .group_by(_ROW, maintain_order=True)
        .agg(observations=pl.col("field").unique(maintain_order=True).str.join("; "))
    )
    if readings.is_empty():
        return seen
    wide = readings.pivot("field", index=_ROW, values="value", aggregate_function="first")
    return wide.join(seen, on=_ROW, how="full", coalesce=True)


def add_used(mined: pl.DataFrame, visits: pl.DataFrame, parts: pl.DataFrame) -> pl.DataFrame:
    """Return what was mined with ``used``: whether it filled a blank, or told of a part that no part row lists."""
    filled = fill_from_notes(visits, mined).select(*_ROW, field="from_notes").explode("field").drop_nulls("field")
    seen = pl.when(pl.col("kind") == OBSERVATION).then(pl.lit("observations")).otherwise("field")
    listed = parts.filter(pl.col("part") == "run_capacitor").select(_ROW).unique()
    part = (pl.col("kind") == PART) & (pl.col("value_text") == FITTED) & ~pl.col("listed").fill_null(False)
    filling = pl.col("kind").is_in([READING, OBSERVATION]) & pl.col("filled").fill_null(False)
    return (
        mined.with_columns(column=seen)
        .join(filled.with_columns(filled=True), left_on=[*_ROW, "column"], right_on=[*_ROW, "field"], how="left")
        .join(listed.with_columns(listed=True), on=_ROW, how="left")
        .with_columns(used=pl.col("attributed") & (part | filling))
        .select(*mined.columns, "used")
    )


def add_told_ratings(units: pl.DataFrame, mined: pl.DataFrame) -> pl.DataFrame:
    """Return the units with the labels told last: told_cap_herm_uf, told_cap_fan_uf, told_cap_blower_uf [uF]."""
    ratings = mined.filter("attributed", pl.col("kind") == RATING).sort("visit_date", "visit_id")
    last = ratings.group_by("unit_id", maintain_order=True).agg(
        pl.col("value").filter(pl.col("field") == f"cap_{section}_uf").last().alias(f"told_cap_{section}_uf")
        for section in SECTIONS
    )
    return units.join(last, on="unit_id", how="left", maintain_order="left")


def add_parts_from_notes(parts: pl.DataFrame, mined: pl.DataFrame) -> pl.DataFrame:
    """Return the parts with a run capacitor for each visit whose note tells of one fitted and that has no such row.

    Parameters
    ----------
    parts
        Parts with their unit and visit date resolved.
    mined
        Output of ``mine``.
    """
    fitted = mined.filter("attributed", (pl.col("kind") == PART) & (pl.col("value_text") == FITTED))
    listed = parts.filter(pl.col("part") == "run_capacitor").select(_ROW).unique()
    told = (
        fitted.join(listed, on=_ROW, how="anti")
        .group_by([*_ROW, "visit_date"], maintain_order=True)
        .agg(
            pl.col("value").filter(pl.col("field") == f"part_cap_{section}_uf").first().alias(f"cap_{section}_uf")
            for section in SECTIONS
        )
        .with_columns(part=pl.lit("run_capacitor"), row_n=pl.lit(1))
    )
    if told.is_empty():
        return parts
    known = [pl.col(name).cast(parts.schema[name]) for name in told.columns if name in parts.columns]
    order = ["unit_id", "visit_date", "visit_id", "part", "row_n"]
    return pl.concat([parts, told.select(known)], how="diagonal").sort(order)
