"""What technicians write down: the readings of a visit, in each one's own habit."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sample_exports.generator import physics
from sample_exports.generator.ageing import Condition, drift_pct
from sample_exports.generator.fleet import Bools, Fleet, Floats, Ints
from sample_exports.generator.words import DIRTY_COIL, DIRTY_FILTER, NOISY, OIL, PITTED, SWOLLEN, TECHNICIANS, VIBRATION

NUMBERS = (
    "minutes_running",
    "outdoor_db_f",
    "return_db_f",
    "return_wb_f",
    "return_rh_pct",
    "supply_db_f",
    "suction_psig",
    "liquid_psig",
    "suction_line_f",
    "liquid_line_f",
    "discharge_line_f",
    "condenser_leaving_f",
    "herm_uf",
    "fan_uf",
    "blower_uf",
    "herm_uf_after",
    "fan_uf_after",
    "blower_uf_after",
    "herm_volts",
    "herm_amps",
    "fan_volts",
    "fan_amps",
    "compressor_amps",
    "condenser_fan_amps",
    "blower_amps",
    "line_volts",
    "static_in_wc",
    "refrigerant_added_oz",
    "refrigerant_recovered_oz",
    "true_superheat_f",
    "true_subcooling_f",
    "true_charge_pct",
)
CODES = ("unit", "day", "technician", "visit_type", "cause", "observations", "mode", "leak_found")
SECTION_COLUMNS = ("herm_uf", "fan_uf", "blower_uf")

# One habit per technician, in the order of ``words.TECHNICIANS``: invented, to give the checks something to find.
SHARE = np.array([0.24, 0.2, 0.17, 0.15, 0.14, 0.1])
UNDER_LOAD = np.array([0.0, 0.05, 0.8, 0.0, 0.0, 0.1])
COPIES = np.array([0.0, 0.0, 0.0, 0.4, 0.0, 0.0])
THOROUGH = np.array([0.97, 0.93, 0.86, 0.72, 0.66, 0.93])
WET_BULB = np.array([0.95, 0.1, 0.7, 0.45, 0.2, 0.85])
HUMIDITY = np.array([0.1, 0.85, 0.0, 0.1, 0.15, 0.3])
STEP_F = np.array([0.1, 0.1, 1.0, 1.0, 1.0, 0.1])
STEP_PSI = np.array([0.1, 1.0, 1.0, 1.0, 2.0, 0.1])
GAUGE_BIAS_PSI = np.array([0.3, -0.6, 1.2, 0.5, -1.5, 0.0])
METER_BIAS_PCT = np.array([0.0, 0.3, 0.0, -0.2, 0.6, -0.4])
BENCH_SD_PCT, LOAD_SD_PCT, LOAD_BIAS_PCT = 1.3, 3.6, -2.0
assert len(SHARE) == len(TECHNICIANS)


@dataclass
class Ledger:
    """Everything written so far, as column chunks; ``visits`` rows are numbered in the order they are opened."""

    visits: list[dict[str, NDArray[np.generic]]] = field(default_factory=list)
    parts: list[dict[str, NDArray[np.generic]]] = field(default_factory=list)
    advice: list[dict[str, NDArray[np.generic]]] = field(default_factory=list)
    rows: int = 0

    def open_visits(self, visits: dict[str, NDArray[np.generic]]) -> Ints:
        """Keep a chunk of visits (columns are still editable by the caller) and return their numbers."""
        k = len(visits["unit"])
        numbers = np.arange(self.rows, self.rows + k)
        self.visits.append(visits)
        self.rows += k
        return numbers


def blank_visits(rows: Ints, days: Ints, technician: Ints, visit_type: Ints | int) -> dict[str, NDArray[np.generic]]:
    """Return visits with nothing read yet."""
    k = len(rows)
    visits: dict[str, NDArray[np.generic]] = {name: np.full(k, np.nan) for name in NUMBERS}
    visits |= {name: np.full(k, -1) for name in CODES}
    visits["unit"], visits["day"], visits["technician"] = rows, days, technician
    visits["visit_type"] = np.broadcast_to(np.asarray(visit_type), k).copy()
    visits["observations"] = np.zeros(k, dtype=np.int64)
    return visits


def pick_technicians(rng: np.random.Generator, k: int) -> Ints:
    """Return who goes."""
    return rng.choice(len(SHARE), k, p=SHARE / SHARE.sum())


def read_capacitors(
    rng: np.random.Generator, fleet: Fleet, state: Condition, visits: dict[str, NDArray[np.generic]], wanted: Bools
) -> Floats:
    """Write capacitor readings as found and return the drift (k, 3) the technician believes; NaN where not read."""
    rows, days, tech = visits["unit"], visits["day"], visits["technician"]
    k = len(rows)
    drift, rated = drift_pct(state, rows, days), state.rated[rows]
    load = (rng.random(k) < UNDER_LOAD[tech])[:, None]
    copied = (rng.random(k) < COPIES[tech])[:, None] & ~state.opened[rows]
    read = (rng.random((k, 3)) < THOROUGH[tech][:, None] * np.array([1.0, 0.97, 0.55])) & wanted[:, None] & (rated > 0)
    error = np.where(
        load,
        LOAD_BIAS_PCT + LOAD_SD_PCT * rng.normal(size=(k, 3)),
        METER_BIAS_PCT[tech][:, None] + BENCH_SD_PCT * rng.normal(size=(k, 3)),
    )
    seen = rated * (1.0 + drift / 100.0) * (1.0 + error / 100.0)
    seen = np.where(state.opened[rows], 0.0, np.maximum(seen, 0.0))
    seen = np.where(copied, rated, np.round(seen, 1))

    volts_across = np.round(fleet.volts[rows][:, None] * rng.normal(1.53, 0.04, (k, 3)))
    amps = physics.start_winding_amps(seen, volts_across)
    amps = np.where(np.arange(3) == 0, np.round(amps, 1), np.round(amps, 2))
    load = load & (np.arange(3) < 2) & ~state.opened[rows]
    bench = np.where(read & ~load, seen, np.nan)
    for section, name in enumerate(SECTION_COLUMNS):
        visits[name] = bench[:, section]
    for section, name in enumerate(("herm", "fan")):
        on = read[:, section] & load[:, section]
        visits[f"{name}_volts"] = np.where(on, volts_across[:, section], np.nan)
        visits[f"{name}_amps"] = np.where(on, amps[:, section], np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        from_amps = physics.MICRO_OVER_OMEGA * amps / volts_across
        believed = 100.0 * (np.where(load, from_amps, seen) / rated - 1.0)
    visits["observations"] |= np.where(
        (drift[:, :2].min(axis=1) < -13.0) & (rated[:, 0] > 0) & (rng.random(k) < 0.3), SWOLLEN, 0
    )
    return np.where(read, believed, np.nan)


def read_circuit(
    rng: np.random.Generator,
    fleet: Fleet,
    state: Condition,
    visits: dict[str, NDArray[np.generic]],
    wanted: Bools,
    outdoor_by_day: Floats,
) -> Floats:
    """Write temperatures, pressures and amps; return the charge deviation (k,) the technician believes [%]."""
    rows, days, tech = visits["unit"], visits["day"], visits["technician"]
    k = len(rows)
    outdoor = outdoor_by_day[days] + rng.normal(-3.0, 3.5, k)
    month = days.astype("datetime64[D]").astype("datetime64[M]").astype(int) % 12
    warm = np.clip((outdoor_by_day[days] - 60.0) / 30.0, 0.0, 1.0)
    return_db = rng.normal(74.5, 1.7, k) + 2.0 * warm
    return_wb = np.minimum(59.5 + 5.5 * warm + rng.normal(0.0, 2.2, k), return_db - 2.5)
    heating = fleet.heat_pump[rows] & ((outdoor < 52.0) | np.isin(month, (10, 11, 0)))
    point = physics.cooling_point(
        metering=fleet.metering[rows],
        target_subcooling_f=fleet.target_subcooling[rows],
        approach_f=fleet.approach[rows],
        superheat_bias_f=fleet.superheat_bias[rows],
        charge_pct=state.charge_pct[rows],
        fouling=state.fouling[rows],
        airflow=state.airflow(rows),
        outdoor_db_f=outdoor,
        return_db_f=return_db,
        return_wb_f=return_wb,
    )
    warmth = physics.heating_point(outdoor, return_db - 5.0, state.charge_pct[rows])
    point = {name: np.where(heating, warmth[name], value) for name, value in point.items()}
    suction, liquid = physics.gauge_pressures(fleet.refrigerant[rows], point)
    volts = fleet.volts[rows] + rng.normal(0.0, 1.5, k)
    herm_drift = np.where(state.rated[rows, 0] > 0, drift_pct(state, rows, days)[:, 0], 0.0)
    amps = physics.running_amps(fleet.rla[rows], point["condensing_f"], state.wear[rows], volts, herm_drift)

    running = wanted & (rng.random(k) < THOROUGH[tech])
    cold = (outdoor < 55.0) & ~heating
    charge = running & ~fleet.mini_split[rows] & (rng.random(k) < np.where(cold, 0.35, 0.96))

    def write(name: str, value: Floats, share: Floats | float, step: Floats | float, among: Bools, sd: float) -> None:
        said = np.round((value + rng.normal(0.0, 1.0, k) * sd) / step) * step
        visits[name] = np.where(among & (rng.random(k) < share), np.round(said, 2), np.nan)

    degree, psi = STEP_F[tech], STEP_PSI[tech]
    write("outdoor_db_f", outdoor, 0.98, degree, wanted, 0.4)
    write("return_db_f", return_db - 5.0 * heating, 0.95, degree, running, 0.3)
    write("return_wb_f", return_wb, WET_BULB[tech], degree, running & ~heating, 0.3)
    humidity = physics.wet_bulb_to_humidity_pct(return_db, return_wb)
    write("return_rh_pct", humidity, HUMIDITY[tech], 1.0, running & ~heating & np.isnan(visits["return_wb_f"]), 1.5)
    write("supply_db_f", point["supply_db_f"], 0.93, degree, running, 0.4)
    write("suction_psig", suction + GAUGE_BIAS_PSI[tech], 0.98, psi, charge, 0.8)
    write("liquid_psig", liquid + 1.5 * GAUGE_BIAS_PSI[tech], 0.96, psi, charge, 1.6)
    write("suction_line_f", point["suction_line_f"], 0.97, degree, charge, 0.5)
    write("liquid_line_f", point["liquid_line_f"], 0.93, degree, charge, 0.5)
    write("discharge_line_f", point["discharge_line_f"], 0.22 * THOROUGH[tech], degree, charge, 1.0)
    write("condenser_leaving_f", point["condenser_leaving_f"], 0.25 * THOROUGH[tech], degree, charge, 0.6)
    write("compressor_amps", amps, 0.85, 0.1, running & ~fleet.mini_split[rows], 0.1)
    fan_load = fleet.fla[rows] * (0.86 + 0.25 * np.clip(state.fouling[rows], 0, 1) * 0.3)
    write("condenser_fan_amps", fan_load, 0.6, 0.1, running & ~fleet.mini_split[rows], 0.04)
    write("blower_amps", 1.4 + 0.9 * fleet.tons[rows], 0.3, 0.1, running, 0.1)
    write("line_volts", volts, 0.6, 1.0, running, 0.5)
    write(
        "static_in_wc",
        0.5 + 1.6 * np.clip(1.0 - state.airflow(rows), 0.0, 0.6),
        0.18 * THOROUGH[tech],
        0.01,
        running,
        0.02,
    )
    minutes = np.clip(np.where(tech == 5, rng.normal(16.0, 5.0, k), rng.normal(22.0, 6.0, k)), 5.0, 60.0)
    write("minutes_running", minutes, np.where(tech == 2, 0.0, 0.6), 1.0, charge, 0.0)
    visits["mode"] = np.where(running & (rng.random(k) < 0.65), np.where(heating, 1, 0), -1)
    visits["true_superheat_f"] = np.where(charge, point["superheat_f"], np.nan)
    visits["true_subcooling_f"] = np.where(charge, point["subcooling_f"], np.nan)
    visits["true_charge_pct"] = np.where(charge, state.charge_pct[rows], np.nan)
    visits["observations"] |= _look_around(rng, state, rows, wanted)
    judged = charge & ~heating & ~cold & np.isfinite(visits["suction_psig"])
    return np.where(judged, state.charge_pct[rows] + rng.normal(0.0, 3.0, k), np.nan)


def _look_around(rng: np.random.Generator, state: Condition, rows: Ints, wanted: Bools) -> Ints:
    """Return what is seen on the way, as a bit mask."""
    k = len(rows)
    seen = np.zeros(k, dtype=np.int64)
    for bit, shown in (
        (PITTED, state.pitting[rows] > 0.5),
        (OIL, (state.leak_pct_per_year[rows] > 6.0) & (state.charge_pct[rows] < -8.0)),
        (DIRTY_COIL, state.fouling[rows] > 0.45),
        (DIRTY_FILTER, state.filter_dirt[rows] > 0.4),
        (NOISY, state.wear[rows] > 0.16),
        (VIBRATION, rng.random(k) < 0.01),
    ):
        seen |= np.where(shown & wanted & (rng.random(k) < 0.55), bit, 0)
    return seen
