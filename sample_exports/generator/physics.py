"""The operating point of a system from its charge, air and wear: saturation temperatures first, pressures from them.

All slopes are engineering guesses in the direction and rough size that trade practice and steady-state fault studies
describe (low charge: lower evaporating temperature, more superheat, less subcooling; fouled condenser: higher
condensing temperature; low airflow: lower evaporating temperature, less superheat on an orifice). Charge acts on
superheat with a fixed orifice and on subcooling with an expansion valve.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from pipeline.enrich.refrigerants import bubble_psia, dew_psia
from sample_exports.generator.words import FIXED, REFRIGERANTS

Floats = NDArray[np.float64]
SEA_LEVEL_PSIA = 14.696
MICRO_OVER_OMEGA = 1e6 / (2 * np.pi * 60)


def cooling_point(
    *,
    metering: NDArray[np.int64],
    target_subcooling_f: Floats,
    approach_f: Floats,
    superheat_bias_f: Floats,
    charge_pct: Floats,
    fouling: Floats,
    airflow: Floats,
    outdoor_db_f: Floats,
    return_db_f: Floats,
    return_wb_f: Floats,
) -> dict[str, Floats]:
    """Return saturation temperatures, superheat, subcooling and air temperatures of running systems.

    Parameters
    ----------
    charge_pct : Floats
        Charge away from nominal [% of nominal]; negative is low.
    fouling : Floats
        Condenser fouling, 0 clean to about 1 badly blocked.
    airflow : Floats
        Indoor airflow as a share of nominal.
    approach_f : Floats
        Condensing over outdoor temperature of the clean system at nominal charge [degF].
    """
    low, high = np.minimum(charge_pct, 0.0), np.maximum(charge_pct, 0.0)
    short_air = np.clip(1.0 - airflow, 0.0, 0.6)
    orifice = metering == FIXED
    capacity = np.clip(
        1.0 + 0.011 * low - 0.0006 * low**2 - 0.003 * high - 0.12 * fouling - 0.35 * short_air, 0.25, 1.1
    )

    target = (3.0 * return_wb_f - 80.0 - outdoor_db_f) / 2.0
    orifice_superheat = np.maximum(target + superheat_bias_f, 0.8) - 0.95 * low - 0.6 * high - 32.0 * short_air
    starved = np.maximum(-low - 13.0, 0.0)
    valve_superheat = 10.0 + superheat_bias_f + 1.5 * starved - 6.0 * short_air
    superheat = np.clip(np.where(orifice, orifice_superheat - 3.0 * fouling, valve_superheat), 0.3, 55.0)

    orifice_subcooling = 9.0 + 0.55 * charge_pct - 2.5 * fouling - 6.0 * short_air
    valve_subcooling = target_subcooling_f + np.where(charge_pct < 0, 0.7, 0.8) * charge_pct - 1.5 * fouling
    subcooling = np.clip(np.where(orifice, orifice_subcooling, valve_subcooling), 0.2, 45.0)

    evaporating = (
        42.5
        + 0.55 * (return_wb_f - 66.0)
        + 0.11 * (outdoor_db_f - 90.0)
        + np.where(orifice, 0.38, 0.2) * low
        - np.where(orifice, 0.0, 0.5) * starved
        + 0.1 * high
        + 2.0 * fouling
        - 30.0 * short_air
    )
    condensing = (
        outdoor_db_f
        + approach_f * (0.85 + 0.15 * capacity) * (1.0 + 0.012 * (return_wb_f - 66.0))
        + 0.15 * low
        + 0.35 * high
        + 16.0 * fouling
    )
    condensing = np.clip(condensing, np.maximum(outdoor_db_f + 6.0, 62.0), 148.0)
    evaporating = np.clip(evaporating, 8.0, 60.0)
    suction_line = np.minimum(evaporating + superheat, np.maximum(return_db_f + 6.0, outdoor_db_f - 4.0))
    liquid_line = np.maximum(condensing - subcooling, outdoor_db_f + 0.5)
    split = (
        (19.5 + 0.45 * (return_db_f - 75.0) - 0.9 * (return_wb_f - 63.0)) * capacity / np.clip(airflow, 0.4, 1.2) ** 0.7
    )
    split = np.clip(split, 1.0, 32.0)
    return {
        "evaporating_f": evaporating,
        "condensing_f": condensing,
        "superheat_f": suction_line - evaporating,
        "subcooling_f": condensing - liquid_line,
        "suction_line_f": suction_line,
        "liquid_line_f": liquid_line,
        "supply_db_f": return_db_f - split,
        "discharge_line_f": np.clip(condensing + 48.0 + 0.9 * superheat, 60.0, 290.0),
        "condenser_leaving_f": outdoor_db_f + np.clip(18.0 * capacity * (1.0 + 0.4 * fouling), 3.0, 35.0),
        "capacity": capacity,
    }


def heating_point(outdoor_db_f: Floats, return_db_f: Floats, charge_pct: Floats) -> dict[str, Floats]:
    """Return the operating point of heat pumps in heating; charge is not judged there, so it is kept rough."""
    evaporating = outdoor_db_f - 13.0 + 0.2 * np.minimum(charge_pct, 0.0)
    condensing = return_db_f + 33.0 + 0.2 * (outdoor_db_f - 47.0)
    supply = return_db_f + 21.0 + 0.25 * (outdoor_db_f - 47.0)
    return {
        "evaporating_f": evaporating,
        "condensing_f": condensing,
        "superheat_f": np.full_like(outdoor_db_f, 8.0),
        "subcooling_f": np.full_like(outdoor_db_f, 12.0),
        "suction_line_f": evaporating + 8.0,
        "liquid_line_f": condensing - 12.0,
        "supply_db_f": supply,
        "discharge_line_f": condensing + 55.0,
        "condenser_leaving_f": outdoor_db_f - 9.0,
        "capacity": np.ones_like(outdoor_db_f),
    }


def gauge_pressures(refrigerant: NDArray[np.int64], point: Mapping[str, Floats]) -> tuple[Floats, Floats]:
    """Return suction (dew) and liquid (bubble) gauge pressure at sea level, psig."""
    suction, liquid = np.full(len(refrigerant), np.nan), np.full(len(refrigerant), np.nan)
    for code, name in enumerate(REFRIGERANTS):
        rows = refrigerant == code
        if rows.any():
            suction[rows] = dew_psia(name, point["evaporating_f"][rows]) - SEA_LEVEL_PSIA
            liquid[rows] = bubble_psia(name, point["condensing_f"][rows]) - SEA_LEVEL_PSIA
    return suction, liquid


def running_amps(rated: Floats, condensing_f: Floats, wear: Floats, volts: Floats, herm_drift_pct: Floats) -> Floats:
    """Return compressor amps: load raises them, wear and a weak capacitor raise them, supply voltage lowers them."""
    load = 0.70 + 0.0055 * (condensing_f - 110.0)
    weak = 1.0 + 0.0012 * np.clip(-herm_drift_pct, 0.0, 60.0)
    return rated * np.clip(load, 0.35, 1.2) * (1.0 + wear) * weak * (236.0 / volts) ** 0.8


def start_winding_amps(microfarads: Floats, volts_across: Floats) -> Floats:
    """Return the amps through a capacitor section under load at 60 Hz: I = 2 pi f C V."""
    return microfarads * volts_across / MICRO_OVER_OMEGA


def wet_bulb_to_humidity_pct(dry_f: Floats, wet_f: Floats) -> Floats:
    """Return relative humidity from wet and dry bulb at sea level.

    Psychrometer equation e = es(wet) - 0.000662 p (dry - wet) in kPa and degC (Ferrel coefficient for an aspirated
    psychrometer, from memory) with the Magnus formula; within about half a percent of the exact equations.
    """
    dry, wet = (dry_f - 32.0) / 1.8, (wet_f - 32.0) / 1.8

    def saturated_kpa(celsius: Floats) -> Floats:
        return 0.61094 * np.exp(17.625 * celsius / (celsius + 243.04))

    vapour = saturated_kpa(wet) - 0.000662 * 101.325 * (dry - wet)
    return np.clip(100.0 * vapour / saturated_kpa(dry), 2.0, 100.0)
