"""The fault signs and their scoring constants as data: ``reference/fault_signs.csv`` and ``fault_model.toml``."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

FEATURES: tuple[str, ...] = ("t_evap", "t_sh", "t_cond", "t_sc", "t_hg", "dt_ca", "dt_ea")
FEATURE_WORDS: Mapping[str, str] = {
    "t_evap": "evaporating temperature",
    "t_sh": "superheat",
    "t_cond": "condensing temperature",
    "t_sc": "subcooling",
    "t_hg": "discharge line",
    "dt_ca": "condenser air rise",
    "dt_ea": "temperature split",
}
OFF_COLUMNS: Mapping[str, str] = {
    "t_evap": "suction_saturation_off",
    "t_sh": "superheat_off",
    "t_cond": "liquid_saturation_off",
    "t_sc": "subcooling_off",
    "t_hg": "discharge_line_off",
    "dt_ca": "condenser_rise_off",
    "dt_ea": "temperature_split_off",
}
"""Columns of the charge readings: actual minus expected (``_f``) and its standard deviation (``_sd_f``), degF."""
NO_FAULT = "no_fault"
CANNOT_TELL = "cannot_tell"
METERINGS = ("fixed_orifice", "expansion_valve")
SIGNS = frozenset({"1", "-1", "0", "0+", "0-", ""})
SLIGHT = "~"


@dataclass(frozen=True)
class Pattern:
    """One way a fault shows on one kind of metering device; ``signs`` and ``slight`` in the order of ``FEATURES``."""

    fault: str
    metering: str
    weight: float
    signs: tuple[str, ...]
    slight: tuple[bool, ...]
    basis: str

    @property
    def moves(self) -> tuple[str, ...]:
        """Signs, those of readings that move little marked with ``SLIGHT``."""
        return tuple(sign + SLIGHT if little else sign for sign, little in zip(self.signs, self.slight, strict=True))

    def ways(self, as_published: float) -> tuple[tuple[tuple[str, ...], float], ...]:
        """Return ``moves`` and plain ``signs`` with their shares of the pattern; one of them where both are alike."""
        if not any(self.slight):
            return ((self.signs, self.weight),)
        return (self.moves, (1.0 - as_published) * self.weight), (self.signs, as_published * self.weight)


@dataclass(frozen=True)
class FaultModel:
    """Patterns, prior odds, sizes and spreads; by name, in the order of ``FEATURES``, degF.

    ``severities`` are shares of ``size_f``: all readings of a fault are slight or full-grown together. ``effect`` says
    how far a reading moves for its sign, as shares of that size.
    """

    patterns: tuple[Pattern, ...]
    prior: Mapping[str, float]
    size_f: tuple[float, ...]
    severities: tuple[float, ...]
    effect: Mapping[str, float]
    between_sd_f: tuple[float, ...]
    visit_sd_f: tuple[float, ...]
    answer: Mapping[str, float]
    seen: Mapping[str, Mapping[str, float]]
    reading: Mapping[str, str]
    separate: Mapping[frozenset[str], str]

    @property
    def answers(self) -> tuple[str, ...]:
        """Every answer with a probability, no fault first."""
        return tuple(self.prior)


@cache
def fault_model() -> FaultModel:
    """Return the shipped model.

    Raises
    ------
    ValueError
        If a pattern has an unknown sign or metering device, or a fault without a prior.
    """
    folder = resources.files("pipeline") / "reference"
    raw = tomllib.loads((folder / "fault_model.toml").read_text("utf-8"))
    lines = [x for x in (folder / "fault_signs.csv").read_text("utf-8").splitlines() if x and not x.startswith("#")]
    patterns = tuple(_pattern(row, raw["prior"]) for row in csv.DictReader(lines))
    return FaultModel(
        patterns=patterns,
        prior=raw["prior"],
        size_f=_by_feature(raw["size_f"]),
        severities=tuple(raw["severity"].values()),
        effect=raw["effect"],
        between_sd_f=_by_feature(raw["between_sd_f"]),
        visit_sd_f=_by_feature(raw["visit_sd_f"]),
        answer=raw["answer"],
        seen=raw["seen"],
        reading=raw["reading"],
        separate={frozenset(entry["faults"]): entry["by"] for entry in raw["separate"]},
    )


def _pattern(row: Mapping[str, str], prior: Mapping[str, Any]) -> Pattern:
    signs = tuple(row[feature] for feature in FEATURES)
    little = row["slight"].split()
    usable = set(signs) <= SIGNS and all(row.get(feature) in {"1", "-1"} for feature in little)
    if not usable or row["metering"] not in METERINGS or row["fault"] not in prior:
        raise ValueError(f"fault_signs.csv: the row of {row['fault']!r} on {row['metering']!r} is not usable")
    slight = tuple(feature in little for feature in FEATURES)
    return Pattern(row["fault"], row["metering"], float(row["weight"]), signs, slight, row["basis"])


def _by_feature(table: Mapping[str, float]) -> tuple[float, ...]:
    return tuple(float(table[feature]) for feature in FEATURES)
