"""The rows behind a rate: the failures that count in it and the units whose years it is of."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import label
from reports.page import Page, Site

PAGE = Page(
    slug="rate_rows",
    title="Rows behind a rate",
    order=92,
    queries={"parts_and_makes_rates": (), "rate_rows_failures": (), "rate_rows_units": ()},
    many=True,
)

Row = Mapping[str, Any]

AGREEMENT: Mapping[str, str] = {"yes": "under agreement", "no": "without an agreement"}


@dataclass(frozen=True)
class RateRows:
    """One group: its rate, the failures and the units behind it."""

    file: str
    group: str
    name: str
    rate: Row
    failures: tuple[Row, ...]
    units: tuple[Row, ...]


def rows_file(group_by: str, group_value: str) -> str:
    """Return the file of the group's rows; a digest, as a value may hold anything."""
    digest = hashlib.sha256(group_value.encode("utf-8", "surrogatepass")).hexdigest()[:10]
    return f"{group_by.replace('_', '-')}-{digest}.html"


def group_words(group_by: str, group_value: str) -> tuple[str, str]:
    """Return what a group is of and what it is called, ``("make", "Norvane")``, ``("units", "under agreement")``."""
    if group_by == "agreement" and group_value in AGREEMENT:
        return "units", AGREEMENT[group_value]
    return group_by.replace("_", " "), label(group_value) if group_by == "component" else group_value


def build(frames: Mapping[str, pl.DataFrame], _site: Site) -> Iterator[RateRows]:
    """Yield one context per group that has a line on the page of rates."""
    key = ["group_by", "group_value"]
    failed, units = (frames[name].partition_by(key, as_dict=True) for name in ("rate_rows_failures", "rate_rows_units"))
    nothing: tuple[Row, ...] = ()
    for rate in frames["parts_and_makes_rates"].iter_rows(named=True):
        place = (rate["group_by"], rate["group_value"])
        group, called = group_words(*place)
        yield RateRows(
            file=rows_file(*place),
            group=group,
            name=called,
            rate=rate,
            failures=tuple(failed[place].iter_rows(named=True)) if place in failed else nothing,
            units=tuple(units[place].iter_rows(named=True)) if place in units else nothing,
        )
