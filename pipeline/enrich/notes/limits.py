"""What a number told in a note may be, from ``reference/notes_limits.toml``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from pipeline.enrich.notes.lexicon import reference

Pressures = tuple[float, float, float, float]


@dataclass(frozen=True)
class Limits:
    """Ranges by field in the field's unit, the rules of pairs, and what pressures a refrigerant shows while cooling."""

    fields: Mapping[str, tuple[float, float]]
    herm_from_uf: float
    herm_sure_uf: float
    fan_to_uf: float
    near_low: float
    near_high: float
    any_pressures: Pressures
    by_refrigerant: Mapping[str, Pressures]
    voltages: frozenset[tuple[float, float]]

    def holds(self, field: str, value: float) -> bool:
        """Whether a value lies in the field's range."""
        low, high = self.fields[field]
        return low <= value <= high

    def pressures(self, refrigerant: str | None) -> Pressures:
        """Return suction from, to, liquid from, to [psig] while cooling."""
        return self.by_refrigerant.get(refrigerant or "", self.any_pressures)


@cache
def limits() -> Limits:
    """Return the shipped limits."""
    raw = reference("notes_limits")
    pair, pressures = raw["pair"], raw["pressures"]
    groups = ("low_pressure", "high_pressure")
    return Limits(
        fields={name: (float(low), float(high)) for name, (low, high) in raw["fields"].items()},
        herm_from_uf=pair["herm_from_uf"],
        herm_sure_uf=pair["herm_sure_uf"],
        fan_to_uf=pair["fan_to_uf"],
        near_low=pair["near_low"],
        near_high=pair["near_high"],
        any_pressures=tuple(pressures["any"]),
        by_refrigerant={
            name: tuple(pressures[group]) for group in groups for name in pressures[f"{group}_refrigerants"]
        },
        voltages=frozenset((float(a), float(b)) for a, b in pressures["voltages"]),
    )
