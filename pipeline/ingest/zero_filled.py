"""Columns that an export fills with 0 where nothing was read: their zeros are blanks, unless something says open."""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from pipeline.errors import cut
from pipeline.fields import NOT_MEASURES, registry
from pipeline.ingest.mapping import Mapped
from pipeline.ingest.parse import Parsed
from pipeline.ingest.read import RawTable

BLANKED_SCHEMA: dict[str, type[pl.DataType]] = {"visit_id": pl.String, "unit_id": pl.String, "field": pl.String}
"""Zeros of capacitor readings taken for blanks; the store makes them readings again where something supports them."""

LEAST_ZEROS, LEAST_SHARE, LEAST_COLUMNS = 3, 0.1, 2
"""An export fills with zeros where at least so many columns without a blank have so many zeros, and such a share of
their cells; then every 0 in a column without a blank is a filler. One honest 0 (an outdoor temperature, a subcooling)
makes no such export. Common practice, no source."""

_ZERO = r"^\s*[-+]?0*[.,]?0+\s*$"


def blank_filled_readings(raw: RawTable, mapped: Mapped) -> tuple[RawTable, tuple[str, ...]]:
    """Return a file of visits with the zeros of filled reading columns blank, and the sentence that says so.

    Readings of capacitors are left: there a 0 may be an open section, see ``blank_zeros``.
    """
    if mapped.table != "visits" or raw.cells.is_empty():
        return raw, ()
    fields = registry()["visits"].fields
    names = {
        name: f"c{use.index}"
        for name, use in mapped.columns.items()
        if name in fields and fields[name].kind == "number" and name not in NOT_MEASURES
    }
    if not names:
        return raw, ()
    zero = {name: pl.col(cell).fill_null("").str.contains(_ZERO) for name, cell in names.items()}
    counts = raw.cells.select(
        *(one.sum().alias(f"{name}:zeros") for name, one in zero.items()),
        *((pl.col(c).fill_null("").str.strip_chars() == "").sum().alias(f"{n}:blank") for n, c in names.items()),
    ).row(0, named=True)
    least = max(LEAST_ZEROS, LEAST_SHARE * raw.cells.height)
    whole = [name for name in names if counts[f"{name}:blank"] == 0 and counts[f"{name}:zeros"]]
    if sum(counts[f"{name}:zeros"] >= least for name in whole) < LEAST_COLUMNS:
        return raw, ()
    others = [name for name in whole if fields[name].unit != "uF"]
    cells = raw.cells.with_columns(
        pl.when(zero[name]).then(pl.lit("")).otherwise(names[name]).alias(names[name]) for name in others
    )
    heads = ", ".join(f'"{cut(mapped.columns[name].header)}"' for name in others)
    note = f"columns with 0 on every line where nothing was read; there a 0 is taken as blank: {heads}"
    return replace(raw, cells=cells), (note,) if others else ()


def blank_zeros(parsed: Parsed) -> tuple[Parsed, pl.DataFrame]:
    """Return the file with the zeros of filled capacitor columns blank, and which of them may yet be open sections.

    The words open, OL and blown are zeros that somebody wrote. A reading of a newly fitted part is never 0.
    """
    columns = parsed.frame.columns
    names = [name for name in sorted(parsed.zero_filled) if name in columns]
    frame = parsed.frame
    blanked = [pl.DataFrame(schema=BLANKED_SCHEMA)]
    for name in names:
        said = parsed.said_open.filter(pl.col("field") == name).get_column("source_line").implode()
        going = ((pl.col(name) == 0) & ~pl.col("source_line").is_in(said)).fill_null(False)
        if not name.endswith("_after") and {"visit_id", "unit_id"} <= set(columns):
            blanked.append(frame.filter(going).select("visit_id", "unit_id", field=pl.lit(name)))
        frame = frame.with_columns(pl.when(~going).then(pl.col(name)).alias(name))
    return replace(parsed, frame=frame), pl.concat(blanked).drop_nulls()
