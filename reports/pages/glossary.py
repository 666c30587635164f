"""Glossary and method: every term from the registry, and how the numbers come about."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

import polars as pl

from pipeline.fields import Field, Table, registry
from reports.format import number
from reports.page import Page, Site

PAGE = Page(slug="glossary", title="Glossary and method", order=50)


@dataclass(frozen=True)
class Term:
    """One term or method with its limits and source."""

    term: str
    meaning: str
    source: str


@dataclass(frozen=True)
class FieldRow:
    """One field of an export."""

    name: str
    label: str
    about: str
    unit: str
    limits: str


@dataclass(frozen=True)
class TableRows:
    """One table of the contract with its fields."""

    name: str
    about: str
    fields: tuple[FieldRow, ...]


@dataclass(frozen=True)
class Glossary:
    """Everything the page shows."""

    terms: tuple[Term, ...]
    tables: tuple[TableRows, ...]


def build(_frames: Mapping[str, pl.DataFrame], _site: Site) -> Glossary:
    """Return the page's context; nothing of it comes from the store."""
    return Glossary(terms(), tuple(_table(table) for table in registry().values()))


@cache
def terms() -> tuple[Term, ...]:
    """Return the terms of ``glossary.toml`` in their order."""
    raw = tomllib.loads(resources.files("reports").joinpath("glossary.toml").read_text("utf-8"))
    return tuple(Term(**spec) for spec in raw["terms"])


def _table(table: Table) -> TableRows:
    return TableRows(table.name, table.about, tuple(_field(field) for field in table.fields.values()))


def _field(field: Field) -> FieldRow:
    return FieldRow(field.name, field.label, field.about, _unit(field), _limits(field))


UNIT_WORDS: Mapping[str, str] = {
    "degF": "°F",
    "uF": "µF",
    "percent": "%",
    "minute": "minutes",
    "volt": "V",
    "ampere": "A",
    "foot": "ft",
    "inH2O": "inches of water",
    "ton_of_refrigeration": "tons",
    "degree": "degrees",
    "year": "years",
}


def _unit(field: Field) -> str:
    if field.unit is None:
        return ""
    text = UNIT_WORDS.get(field.unit, field.unit)
    return f"{text}, a difference" if field.difference else text


def _limits(field: Field) -> str:
    if field.allowed:
        return ", ".join(word.replace("_", " ") for word in field.allowed)
    low, high = (_limit(value) for value in (field.low, field.high))
    if low and high:
        return f"{low} to {high}"
    return f"from {low}" if low else f"up to {high}" if high else ""


def _limit(value: object) -> str:
    if value is None:
        return ""
    return number(value, 0 if float(value).is_integer() else 1) if isinstance(value, (int, float)) else str(value)
