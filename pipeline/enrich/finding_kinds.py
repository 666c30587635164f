"""The kinds of finding of ``reference/findings.toml``, and the history that they are looked for in."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

import polars as pl


@dataclass(frozen=True)
class History:
    """The whole history of the units, as the earlier steps return it."""

    visits: pl.DataFrame
    parts: pl.DataFrame
    recommendations: pl.DataFrame
    capacitor_series: pl.DataFrame
    capacitor_readings: pl.DataFrame
    charge_readings: pl.DataFrame
    ledger: pl.DataFrame

    def until(self, as_of: dt.date) -> History:
        """Return the same without what is dated after ``as_of``; a decision of a later day is not known yet."""
        upto = pl.col("visit_date") <= as_of
        dated = (
            self.visits,
            self.parts,
            self.recommendations,
            self.capacitor_readings,
            self.charge_readings,
            self.ledger,
        )
        visits, parts, recommendations, capacitors, charge, ledger = (frame.filter(upto) for frame in dated)
        said = pl.col("decided_on").is_null() | (pl.col("decided_on") <= as_of)
        recommendations = recommendations.with_columns(pl.when(said).then(pl.col("decision", "decided_on")))
        ended = pl.when(pl.col("ended_on") <= as_of).then(pl.col("ended_on"))
        series = self.capacitor_series.with_columns(ended_on=ended)
        return History(visits, parts, recommendations, series, capacitors, charge, ledger)


@dataclass(frozen=True)
class Kind:
    """What puts a finding right, and which recommendations speak of it."""

    finding: str
    parts: tuple[str, ...]
    words: tuple[str, ...]
    seen: str | None
    clears: bool


@cache
def kinds() -> Mapping[str, Kind]:
    """Return the shipped kinds of finding by name."""
    raw = tomllib.loads(resources.files("pipeline").joinpath("reference/findings.toml").read_text("utf-8"))
    return {
        name: Kind(name, tuple(k["parts"]), tuple(k["words"]), k.get("seen"), k.get("clears", False))
        for name, k in raw.items()
    }
