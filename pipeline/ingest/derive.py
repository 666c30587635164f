"""Ids for exports that have none: from the serial, else from the address; the same row always gets the same id."""

from __future__ import annotations

import hashlib
import re

import polars as pl

from pipeline.fields import registry

DIGEST_LENGTH = 10
"""Hexadecimal digits of a derived id: 40 bits, so that 100,000 addresses collide with a chance of 0.5 %."""

STREETS = {
    long: short
    for short, longs in (
        ("st", "street"),
        ("ave", "avenue av"),
        ("rd", "road"),
        ("dr", "drive"),
        ("ln", "lane"),
        ("blvd", "boulevard"),
        ("ct", "court"),
        ("cir", "circle"),
        ("pl", "place"),
        ("ter", "terrace"),
        ("trl", "trail"),
        ("hwy", "highway"),
        ("pkwy", "parkway"),
        ("sq", "square"),
        ("apt", "apartment"),
        ("ste", "suite"),
        ("n", "north"),
        ("s", "south"),
        ("e", "east"),
        ("w", "west"),
        ("ne", "northeast"),
        ("nw", "northwest"),
        ("se", "southeast"),
        ("sw", "southwest"),
        ("str", "stra\u00dfe strasse"),
    )
    for long in longs.split()
}
"""Words of an address that one hand writes out and another shortens (USPS Publication 28, suffix abbreviations, from
memory; the German one common practice, no source)."""

UNIT_FROM = ("address", "site_id", "customer_name", "phone")
VISIT_FROM = ("unit_id", "serial", "address", "site_id", "customer_name", "phone")


def derivable(table: str, fields: frozenset[str]) -> frozenset[str]:
    """Return the required fields of ``table`` that a file with these fields can do without."""
    found = set()
    if table == "visits" and "visit_date" in fields and fields & set(VISIT_FROM):
        found.add("visit_id")
    if table in ("visits", "units") and fields & {"serial", *UNIT_FROM}:
        found.add("unit_id")
    if table == "sites" and "address" in fields:
        found.add("site_id")
    return frozenset(found)


def add_derived_ids(frame: pl.DataFrame, table: str) -> tuple[pl.DataFrame, tuple[str, ...], tuple[str, ...]]:
    """Return the frame with the ids it lacks, the fields added, and one sentence for each.

    Parameters
    ----------
    frame : pl.DataFrame
        Typed rows of one file; an id column that is wholly empty counts as lacking.

    Returns
    -------
    frame, fields, notes
        Rows and their order are kept. A row that has nothing to derive an id from gets none.
    """
    have = frozenset(name for name in frame.columns if frame[name].null_count() < frame.height)
    added: list[str] = []
    notes: list[str] = []
    if "site_id" not in have and "address" in have and table in ("visits", "units", "sites"):
        nearby = [name for name in ("postal_code", "city") if name in have]
        parts = ["address", *nearby[:1]]
        frame = frame.with_columns(_digest(frame, "site", parts).alias("site_id"))
        added.append("site_id")
        notes.append(f"no column tells the site: it is derived from {' and '.join(parts)}")
    can = derivable(table, have)
    if "unit_id" not in have and "unit_id" in can:
        frame, source = _unit_ids(frame, have)
        added.append("unit_id")
        notes.append(f"no column tells the unit: it is derived from {source}")
    if "visit_id" not in have and "visit_id" in can:
        place = ["unit_id"] if "unit_id" in have | set(added) else [name for name in VISIT_FROM if name in have][:1]
        frame = frame.with_columns(_visit_ids(frame, place).alias("visit_id"))
        added.append("visit_id")
        notes.append("no column tells the visit: it is derived from the date and the unit")
    order = [name for name in frame.columns if name not in added]
    return frame.select(*added, *order), tuple(added), tuple(notes)


def _unit_ids(frame: pl.DataFrame, have: frozenset[str]) -> tuple[pl.DataFrame, str]:
    home = next((name for name in UNIT_FROM if name in have), None)
    place = [home, *(name for name in ("unit_location",) if name in have)] if home else []
    by_place = _digest(frame, "unit", place) if place else pl.Series("unit", [None] * frame.height, pl.String)
    source = " and ".join(place)
    if "serial" not in have:
        return frame.with_columns(by_place.alias("unit_id")), source
    serial = pl.col("serial").str.to_uppercase().str.replace_all(r"\s", "")
    filled = frame.with_columns(by_place.alias("_place")).with_columns(pl.coalesce(serial, "_place").alias("unit_id"))
    return filled.drop("_place"), f"the serial, else {source}" if source else "the serial"


def _visit_ids(frame: pl.DataFrame, place: list[str]) -> pl.Series:
    """Return ids of date and place; different records of one day and place are numbered in the file's order,
    repeats share one."""
    base = _digest(frame, "visit", ["visit_date", *place])
    written = [name for name in frame.columns if name not in ("source_line", "source_file", "rejected_fields")]
    records = frame.select(pl.struct(written).alias("record"), base.alias("base")).with_row_index("row")
    first = records.group_by("base", "record", maintain_order=True).agg(pl.col("row").min())
    ranked = first.with_columns((pl.col("row").rank("ordinal").over("base")).alias("n"))
    joined = records.join(
        ranked.select("base", "record", "n"), on=["base", "record"], how="left", maintain_order="left"
    )
    numbered = pl.when(pl.col("n") > 1).then(pl.concat_str("base", pl.lit("-"), pl.col("n"))).otherwise("base")
    return joined.select(numbered).to_series()


def _digest(frame: pl.DataFrame, kind: str, names: list[str]) -> pl.Series:
    """Return ``kind-`` and a digest of the columns, folded; null where the first column is empty."""
    folded = [
        pl.col(name).cast(pl.String).str.to_lowercase().str.replace_all(r"[^\p{L}\p{N}]+", " ").str.strip_chars()
        for name in names
    ]
    keys = frame.select(
        pl.when(pl.col(names[0]).is_not_null()).then(pl.concat_str(folded, separator="|", ignore_nulls=True))
    ).to_series()
    distinct = keys.unique().drop_nulls()
    shortened = map(_one_spelling, distinct) if "address" in names else distinct
    ids = [f"{kind}-{hashlib.sha256(key.encode()).hexdigest()[:DIGEST_LENGTH]}" for key in shortened]
    return keys.replace_strict(distinct, pl.Series(ids, dtype=pl.String), default=None, return_dtype=pl.String).alias(
        kind
    )


def _one_spelling(key: str) -> str:
    """Return a folded address as whoever shortens it would write it.

    >>> _one_spelling("12 oak street"), _one_spelling("eichenstra\u00dfe 3")
    ('12 oak st', 'eichenstr 3')
    """
    return re.sub(r"[^ |]+", lambda word: STREETS.get(word[0]) or re.sub("stra(?:ss|\u00df)e$", "str", word[0]), key)


def required_without_help(table: str, fields: frozenset[str]) -> tuple[str, ...]:
    """Return the required fields of ``table`` that are neither among ``fields`` nor derivable from them."""
    can = derivable(table, fields)
    return tuple(name for name in registry()[table].required if name not in fields and name not in can)
