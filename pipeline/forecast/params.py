"""What the forecast has learned from a fleet: small, frozen, and the same after a trip through JSON."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from typing import Any, Literal

Mode = Literal["starter", "fitted", "fallback"]
VERSION = 3


@dataclass(frozen=True)
class NoiseParams:
    """Noise [% of rating], biases [% of rating] and copied shares of readings."""

    noise_pct: dict[str, float]
    bias_pct: dict[str, float]
    slope_pct_per_year: float
    technician_bias_pct: dict[str, float]
    technician_copied_share: dict[str, float]
    pairs: int


@dataclass(frozen=True)
class SectionParams:
    """The drift model: weights of the paths per section, of the origins, and the recalibration of its odds."""

    noise: NoiseParams
    path_weights: dict[str, tuple[float, ...]]
    origin_weights: tuple[float, ...]
    age_at_first_visit_years: float
    open_rate_per_year: float
    recalibration: tuple[float, float]
    recalibration_pairs: int
    series: int


@dataclass(frozen=True)
class DrawIn:
    """Soft ceiling, slope and offset that log hazards go through."""

    cap: float
    slope: float
    offset: float


@dataclass(frozen=True)
class UnitParams:
    """The two failure models: logs of factors (additive), coefficients (proportional), and their covariances.

    ``heat``: effect of a season's heat and the usual degree days; zeros where the shop keeps none.
    """

    mode: Mode
    additive: tuple[float, ...]
    additive_cov: tuple[tuple[float, ...], ...]
    proportional: tuple[float, ...]
    proportional_cov: tuple[tuple[float, ...], ...]
    makes: tuple[str, ...]
    month_factors: tuple[float, ...]
    median_age_years: float
    load_mean: float
    load_effects: tuple[float, float]
    season_sd: float
    heat: tuple[float, float]
    draw_in: DrawIn
    base_causes: dict[str, float]
    temper: tuple[float, float]
    rate_per_season: float
    unit_seasons: float
    failures: int


@dataclass(frozen=True)
class Params:
    """Everything learned from rows dated up to ``data_through``."""

    data_through: str
    sections: SectionParams
    units: UnitParams
    version: int = VERSION

    def to_json(self) -> str:
        """Return the parameters as JSON text, the same bytes for the same parameters."""
        return json.dumps(dataclasses.asdict(self), sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Params:
        """Return the parameters written by ``to_json``.

        Raises
        ------
        ValueError
            If the text was written by another version.
        """
        raw = json.loads(text)
        if raw.get("version") != VERSION:
            raise ValueError(f"forecast parameters of version {raw.get('version')} cannot be used by version {VERSION}")
        sections = dict(raw["sections"])
        sections["noise"] = NoiseParams(**sections["noise"])
        sections["path_weights"] = {name: tuple(w) for name, w in sections["path_weights"].items()}
        units = _tuples(raw["units"])
        units["draw_in"] = DrawIn(**units["draw_in"])
        return cls(raw["data_through"], SectionParams(**_tuples(sections)), UnitParams(**units))


def _tuples(fields: dict[str, Any]) -> dict[str, Any]:
    return {name: _tuple(value) for name, value in fields.items()}


def _tuple(value: Any) -> Any:
    return tuple(_tuple(v) for v in value) if isinstance(value, list) else value
