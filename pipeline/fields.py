"""The column registry: what each field of the six tables is, read once from ``fields.toml``."""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Literal

Kind = Literal["text", "number", "integer", "date", "word", "words", "rating"]
KINDS: tuple[Kind, ...] = ("text", "number", "integer", "date", "word", "words", "rating")
NUMERIC_KINDS: frozenset[str] = frozenset({"number", "integer", "rating"})
SQL_TYPES: Mapping[str, str] = {
    "text": "VARCHAR",
    "word": "VARCHAR",
    "words": "VARCHAR",
    "date": "DATE",
    "number": "DOUBLE",
    "integer": "BIGINT",
    "rating": "DOUBLE",
}


@dataclass(frozen=True)
class Field:
    """One column: its type, canonical unit, plausible range and meaning."""

    table: str
    name: str
    kind: Kind
    label: str
    about: str
    unit: str | None = None
    difference: bool = False
    low: float | dt.date | None = None
    high: float | dt.date | None = None
    required: bool = False
    allowed: tuple[str, ...] = ()
    private: bool = False
    source: str = "common practice, no source"

    @property
    def is_numeric(self) -> bool:
        """Whether the stored value is a number."""
        return self.kind in NUMERIC_KINDS

    @property
    def bounds(self) -> tuple[float, float]:
        """The least and the greatest number the field may hold, in its unit; infinite where it has no such end."""
        low = self.low if isinstance(self.low, int | float) else -math.inf
        high = self.high if isinstance(self.high, int | float) else math.inf
        return low, high

    @property
    def sql_type(self) -> str:
        """The DuckDB type the field is stored as."""
        return SQL_TYPES[self.kind]


@dataclass(frozen=True)
class Table:
    """One table of the contract: its grain, key and fields in order.

    ``guests`` names the tables whose fields a file of this table may also carry (a wide visits file).
    """

    name: str
    about: str
    key: tuple[str, ...]
    guests: tuple[str, ...]
    fields: Mapping[str, Field]

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the fields without which a row is rejected."""
        return tuple(f.name for f in self.fields.values() if f.required)


@cache
def registry() -> Mapping[str, Table]:
    """Return all tables by name, in the order of ``fields.toml``.

    Raises
    ------
    ValueError
        If the shipped registry itself is wrong (unknown kind, range on text).
    """
    raw = tomllib.loads(resources.files("pipeline").joinpath("fields.toml").read_text("utf-8"))
    visits = raw["tables"]["visits"]["fields"]
    measures = tuple(name for name, spec in visits.items() if spec["kind"] == "number" and name not in NOT_MEASURES)
    return {name: _table(name, spec, measures) for name, spec in raw["tables"].items()}


NOT_MEASURES: frozenset[str] = frozenset({"invoice_total", "altitude_ft"})
"""Number fields of visits that are not readings of the system."""


def fields_for_file(table: str) -> Mapping[str, Field]:
    """Return every field a file of ``table`` may carry: its own first, then those of its guests."""
    tables = registry()
    own = dict(tables[table].fields)
    for guest in tables[table].guests:
        for name, field in tables[guest].fields.items():
            own.setdefault(name, field)
    return own


def _table(name: str, spec: Mapping[str, Any], measures: tuple[str, ...]) -> Table:
    fields = {key: _field(name, key, value, measures) for key, value in spec["fields"].items()}
    return Table(name, spec["about"], tuple(spec["key"]), tuple(spec["guests"]), fields)


def _field(table: str, name: str, spec: Mapping[str, Any], measures: tuple[str, ...]) -> Field:
    if spec["kind"] not in KINDS:
        raise ValueError(f"fields.toml: {table}.{name} has the unknown kind {spec['kind']!r}")
    if ("low" in spec or "high" in spec) and spec["kind"] not in NUMERIC_KINDS | {"date"}:
        raise ValueError(f"fields.toml: {table}.{name} is {spec['kind']} and can have no range")
    given = {key: value for key, value in spec.items() if key not in {"allowed", "allowed_from"}}
    allowed = measures if "allowed_from" in spec else tuple(spec.get("allowed", ()))
    return Field(table=table, name=name, allowed=allowed, **given)
