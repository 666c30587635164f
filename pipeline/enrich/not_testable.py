"""The reasons of ``reference/not_testable.toml``: why a charge cannot be judged, by the code that the store keeps."""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import polars as pl

from pipeline.enrich.limits import Limits, limits

BETWEEN = "; "
"""Between the codes of a visit that has several reasons."""
REASONS_SCHEMA: Mapping[str, pl.DataType] = {
    "place": pl.Int64(),
    "code": pl.String(),
    "words": pl.String(),
    "column_words": pl.String(),
}


@dataclass(frozen=True)
class Reason:
    """One reason; what each field means stands in the file."""

    code: str
    words: str
    fault_neither: bool = False
    next_reading: str | None = None
    asked: int | None = None
    column: str | None = None


@cache
def reasons() -> Mapping[str, Reason]:
    """Return the shipped reasons by code, in the order in which a page tells them.

    Raises
    ------
    TypeError
        If the file has a key that nothing uses, or lacks the words of a reason.
    """
    raw = tomllib.loads(resources.files("pipeline").joinpath("reference/not_testable.toml").read_text("utf-8"))
    return {code: _reason(code, entry, limits()) for code, entry in raw.items()}


def _reason(code: str, entry: Mapping[str, Any], known: Limits) -> Reason:
    numbers = dataclasses.asdict(known)
    told: dict[str, Any] = {
        key: value.format(**numbers) if isinstance(value, str) else value for key, value in entry.items()
    }
    return Reason(code, **told)


def has_reason(codes: Iterable[str]) -> pl.Expr:
    """Return where not_testable_codes names one of ``codes``; false where it is null."""
    found = pl.col("not_testable_codes").str.split(BETWEEN)
    return pl.any_horizontal(found.list.contains(code) for code in codes).fill_null(False)


def reason_table() -> pl.DataFrame:
    """Return ``REASONS_SCHEMA``, one row per reason: what the store needs to tell codes in words."""
    rows = [(place, r.code, r.words, r.column) for place, r in enumerate(reasons().values())]
    return pl.DataFrame(rows, schema=dict(REASONS_SCHEMA), orient="row")
