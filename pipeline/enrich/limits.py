"""The numbers of ``reference/thresholds.toml``, typed; where each comes from stands in that file."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources


@dataclass(frozen=True)
class Limits:
    """Limits of the charge and airflow judgement; meaning and source of each in ``thresholds.toml``."""

    superheat_band_f: float
    superheat_borderline_f: float
    subcooling_band_f: float
    subcooling_borderline_f: float
    outdoor_low_f: float
    outdoor_high_f: float
    wet_bulb_low_f: float
    wet_bulb_high_f: float
    least_target_superheat_f: float
    least_minutes: float
    flood_back_f: float
    metering_superheat_high_f: float
    target_model_sd_f: float
    plate_target_sd_f: float
    default_target_sd_f: float
    split_high_f: float
    split_low_f: float
    split_band_f: float
    coil_freezing_f: float
    evaporating_below_wet_bulb_f: float
    heating_split_f: float
    cooling_outdoor_f: float
    virtual_charge_subcooling_f: float
    virtual_charge_superheat_share: float
    charge_level_margin_pct: float
    superheat_per_charge_pct_f: float
    subcooling_per_charge_pct_f: float
    leaking_share: float
    leak_rate_median_pct: float
    leak_suspected_p: float
    charge_oz_per_ton: float
    recorded_apart_sds: float
    note_temperature_sd_f: float
    note_pressure_sd_psi: float
    note_difference_sd_f: float


@cache
def limits() -> Limits:
    """Return the shipped limits.

    Raises
    ------
    TypeError
        If the shipped file lacks a limit or has one that nothing uses.
    """
    raw = tomllib.loads(resources.files("pipeline").joinpath("reference/thresholds.toml").read_text("utf-8"))
    return Limits(**{name: float(entry["value"]) for name, entry in raw.items()})
