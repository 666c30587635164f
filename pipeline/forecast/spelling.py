"""One spelling for each name, so that capitals and outer spaces make no group of their own."""

from __future__ import annotations

import polars as pl


def one_spelling(frame: pl.DataFrame, column: str) -> pl.DataFrame:
    """Return the frame with ``column`` spelled as most of its rows spell it; a blank is null.

    Of spellings as frequent, the first in order counts. Rows and their order are kept.

    Examples
    --------
    >>> one_spelling(pl.DataFrame({"make": ["Norvane", " norvane", "Norvane ", ""]}), "make")["make"].to_list()
    ['Norvane', 'Norvane', 'Norvane', None]
    """
    clean = pl.col(column).str.strip_chars().replace("", None)
    told = frame.select(told=column).drop_nulls().group_by("told").len()
    chosen = (
        told.with_columns(clean=pl.col("told").str.strip_chars().replace("", None))
        .with_columns(key=pl.col("clean").str.to_lowercase())
        .with_columns(many=pl.col("len").sum().over("clean"))
        .sort("key", "many", "clean", descending=[False, True, False], nulls_last=True)
        .with_columns(chosen=pl.col("clean").first().over("key"))
    )
    if chosen["told"].equals(chosen["chosen"]):
        return frame.with_columns(clean.alias(column))
    spellings = dict(chosen.select("told", "chosen").iter_rows())
    return frame.with_columns(pl.col(column).replace_strict(spellings, default=None, return_dtype=pl.String))
