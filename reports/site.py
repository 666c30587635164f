"""Builds the one ``Site`` that every page reads, and takes out what must not be published."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields

import polars as pl

from pipeline.fields import registry
from reports.page import Site

FREE_TEXT = frozenset({"notes", "snippet", "leak_location", "reason", "retired_because"})
"""Free text may name a person or a street, so it goes too where names are left out."""


def private_columns() -> frozenset[str]:
    """Return every column that names a person, a phone or a street, or may do so in free text."""
    named = {f.name for table in registry().values() for f in table.fields.values() if f.private}
    return frozenset(named) | FREE_TEXT


NAMING_TECHNICIANS = ("technician", "who", "figure")
"""Columns that hold a technician's name, alone or in the key of a figure."""


def numbers_for(technicians: Iterable[str]) -> dict[str, str]:
    """Return what stands for each technician, and in the key of a figure, where names are left out: a number."""
    shown = {name: f"Technician {n}" for n, name in enumerate(technicians, start=1)}
    return shown | {f"back technician {name}": f"back technician {number}" for name, number in shown.items()}


def without_names(frame: pl.DataFrame, shown: Mapping[str, str]) -> pl.DataFrame:
    """Return the frame with its private columns empty and technicians as ``shown``; row count and columns kept."""
    hidden = [name for name in frame.columns if name in private_columns()]
    told = [name for name in NAMING_TECHNICIANS if frame.schema.get(name) == pl.String]
    return frame.with_columns(
        *(pl.lit(None, frame.schema[name]).alias(name) for name in hidden),
        *(pl.col(name).replace(shown) for name in told),
    )


def make_site(
    row: pl.DataFrame, *, shop_name: str, currency: str, with_names: bool, unit_files: Mapping[str, str]
) -> Site:
    """Return the site's facts from the one row of ``site.sql``.

    Raises
    ------
    ValueError
        If the frame has not exactly one row.
    """
    values = row.row(0, named=True) if row.height == 1 else None
    if values is None:
        raise ValueError(f"site.sql gave {row.height} rows instead of one")
    given = {f.name: values[f.name] for f in fields(Site) if f.name in values}
    return Site(shop_name=shop_name, currency=currency, with_names=with_names, unit_files=unit_files, **given)
