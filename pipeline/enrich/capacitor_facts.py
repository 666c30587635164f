"""Constants of run capacitors from ``reference/capacitors.toml`` and the section names."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

SECTIONS: tuple[str, ...] = ("herm", "fan", "blower")
"""Hermetic (compressor), condenser fan and indoor blower section."""

BENCH = "bench"
UNDER_LOAD = "under_load"
FROM_NOTES = "from_notes"


@dataclass(frozen=True)
class CapacitorFacts:
    """Tolerance, noise and preferred sizes; percent of rating and microfarads."""

    default_tolerance_pct: float
    noise_sd_pct: Mapping[str, float]
    event_beyond_pct: float
    preferred_uf: Mapping[str, tuple[float, ...]]


@cache
def capacitor_facts() -> CapacitorFacts:
    """Return the shipped facts."""
    raw = tomllib.loads(resources.files("pipeline").joinpath("reference/capacitors.toml").read_text("utf-8"))
    noise = raw["noise"]
    return CapacitorFacts(
        default_tolerance_pct=raw["tolerance"]["default_pct"],
        noise_sd_pct={
            BENCH: noise["bench_sd_pct"],
            UNDER_LOAD: noise["under_load_sd_pct"],
            FROM_NOTES: noise["from_notes_sd_pct"],
        },
        event_beyond_pct=raw["event"]["beyond_pct"],
        preferred_uf={s: tuple(float(v) for v in raw["preferred"][f"{s}_uf"]) for s in SECTIONS},
    )
