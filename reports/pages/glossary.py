"""Glossary and method: every term from the registry, and how the numbers come about."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import polars as pl

from pipeline.fields import Field, Table, registry
from reports.format import kept_together, number, reason_text
from reports.page import Page, Site

PAGE = Page(slug="glossary", title="Glossary and method", order=50, queries={"glossary_not_testable": ()})

LIMITS = "limits"
"""Stands for the sources of the limits that a term names."""


@dataclass(frozen=True)
class Term:
    """One term or method with its limits and source."""

    term: str
    meaning: str
    source: str
    items: tuple[str, ...] = ()


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


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> Glossary:
    """Return the page's context: terms with the registries' limits, the store's reasons, the fields."""
    reasons = tuple(reason_text(words) for words in frames["glossary_not_testable"]["because"])
    return Glossary(terms(reasons), tuple(_table(table) for table in registry().values()))


@cache
def terms(not_testable: tuple[str, ...] = ()) -> tuple[Term, ...]:
    """Return the terms of ``glossary.toml`` in their order, limits filled in from the registries."""
    limits, sources = _limits_of_registries()
    return tuple(
        Term(
            term=spec["term"],
            meaning=kept_together(spec["meaning"].format_map(limits)),
            source="; ".join(dict.fromkeys(sources[name] for name in spec[LIMITS]))
            if spec["source"] == LIMITS
            else spec["source"],
            items=not_testable if spec.get("lists") == "not_testable" else (),
        )
        for spec in _read("reports", "glossary.toml")["terms"]
    )


def _limits_of_registries() -> tuple[dict[str, float], dict[str, str]]:
    """Return the limits that terms may name, and where each is from."""
    thresholds = _read("pipeline.reference", "thresholds.toml")
    values = {name: spec["value"] for name, spec in thresholds.items()}
    tolerance = _read("pipeline.reference", "capacitors.toml")["tolerance"]["default_pct"]
    return {**values, "default_pct": tolerance}, {name: spec["source"] for name, spec in thresholds.items()}


def _read(package: str, file: str) -> dict[str, Any]:
    return tomllib.loads(resources.files(package).joinpath(file).read_text("utf-8"))


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
