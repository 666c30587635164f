"""How units wear: capacitor drift along several path shapes, charge, dirt, contacts; and the hazards that follow.

Path shapes and rates are guesses for a demonstration. Drift is in percent of the rating, negative is low.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sample_exports.generator.almanac import YEAR_DAYS
from sample_exports.generator.fleet import Bools, Fleet, Floats, Ints
from sample_exports.generator.words import CAUSE, CAUSES, MAKE_HAZARD, PART_MAKE_DRIFT, PART_MAKE_SHARE

DriftLaw = Literal["mixed", "linear", "accelerating", "two_phase", "gamma"]
FailureLaw = Literal["additive", "proportional", "late"]
LINEAR, TWO_PHASE, ACCELERATING, GAMMA = range(4)
LAW_SHARE: dict[str, tuple[float, float, float, float]] = {
    "mixed": (0.40, 0.27, 0.20, 0.13),
    "linear": (1.0, 0.0, 0.0, 0.0),
    "two_phase": (0.0, 1.0, 0.0, 0.0),
    "accelerating": (0.0, 0.0, 1.0, 0.0),
    "gamma": (0.0, 0.0, 0.0, 1.0),
}
OPEN_PCT = -99.0
SUDDEN_OPENS_PER_YEAR = 0.004


@dataclass
class Condition:
    """The changing state of every unit; the capacitor arrays are (n, 3): hermetic, fan, blower."""

    law: Ints
    offset: Floats
    rate: Floats
    onset: Floats
    tau: Floats
    origin: Ints
    extra: Floats  # random part of the path so far, percent
    opened: Bools
    rated: Floats  # rating in force, 0 = no section
    part_make: Ints
    charge_pct: Floats
    leak_pct_per_year: Floats
    leak_from: Ints
    wear: Floats
    wear_per_year: Floats
    fouling: Floats
    filter_dirt: Floats
    duct_airflow: Floats
    pitting: Floats
    failures: Floats
    drift_law: DriftLaw

    def airflow(self, rows: NDArray[np.int64] | slice) -> Floats:
        """Return indoor airflow as a share of nominal."""
        return self.duct_airflow[rows] - 0.25 * self.filter_dirt[rows]


def first_condition(rng: np.random.Generator, fleet: Fleet, drift_law: DriftLaw) -> Condition:
    """Return the condition of each unit on the day the shop first sees it.

    A capacitor may have been replaced before, unrecorded: the older the unit, the likelier; none comes in below -25 %.
    """
    n = len(fleet)
    shape = (n, 3)
    state = Condition(
        law=np.zeros(shape, dtype=np.int64),
        offset=np.zeros(shape),
        rate=np.zeros(shape),
        onset=np.zeros(shape),
        tau=np.ones(shape),
        origin=np.repeat(fleet.installed[:, None], 3, axis=1),
        extra=np.zeros(shape),
        opened=np.zeros(shape, dtype=bool),
        rated=fleet.rated.copy(),
        part_make=np.zeros(shape, dtype=np.int64),
        charge_pct=np.where(rng.random(n) < 0.33, -np.abs(rng.normal(9.0, 5.0, n)), rng.normal(1.5, 4.0, n)),
        leak_pct_per_year=np.where(rng.random(n) < 0.16, rng.lognormal(1.9, 0.8, n), 0.0),
        leak_from=fleet.installed + (rng.exponential(7.0, n) * YEAR_DAYS).astype(int),
        wear=np.clip(rng.normal(0.0, 0.04, n), -0.1, 0.2),
        wear_per_year=rng.lognormal(-5.2, 1.0, n),
        fouling=rng.beta(1.3, 5.0, n),
        filter_dirt=rng.beta(1.2, 4.0, n),
        duct_airflow=np.clip(rng.normal(0.98, 0.07, n), 0.72, 1.1),
        pitting=np.clip((fleet.entry - fleet.installed) / YEAR_DAYS * 0.03 * rng.lognormal(0.0, 0.6, n), 0.0, 0.9),
        failures=np.zeros(n),
        drift_law=drift_law,
    )
    state.wear += np.minimum(state.wear_per_year * (fleet.entry - fleet.installed) / YEAR_DAYS, 0.12)
    state.charge_pct = np.where(fleet.entry_kind == 1, rng.normal(0.0, 2.5, n), state.charge_pct)
    state.fouling[fleet.entry_kind == 1] = 0.0
    everything = np.argwhere(fleet.rated > 0)
    fit_parts(rng, fleet, state, everything[:, 0], everything[:, 1], fleet.installed[everything[:, 0]])
    age = (fleet.entry - fleet.installed)[:, None] / YEAR_DAYS
    for turn in range(3):
        too_low = (drift_pct(state, slice(None), fleet.entry) < -25.0) & (fleet.rated > 0)
        earlier = too_low | ((rng.random(shape) < 0.03 * age) & (fleet.rated > 0) & (turn == 0))
        rows, sections = np.nonzero(earlier)
        replaced = fleet.installed[rows] + (
            (fleet.entry - fleet.installed)[rows] * rng.uniform(0.2, 1.0, len(rows))
        ).astype(int)
        fit_parts(rng, fleet, state, rows, sections, replaced)
    rows, sections = np.nonzero((drift_pct(state, slice(None), fleet.entry) < -25.0) & (fleet.rated > 0))
    fit_parts(rng, fleet, state, rows, sections, fleet.entry[rows])
    return state


def fit_parts(rng: np.random.Generator, fleet: Fleet, state: Condition, rows: Ints, sections: Ints, when: Ints) -> None:
    """Put a new capacitor section on each of ``rows``: a new path with its own shape, starting on ``when``."""
    k = len(rows)
    at = (rows, sections)
    state.part_make[at] = rng.choice(len(PART_MAKE_SHARE), k, p=PART_MAKE_SHARE)
    quality = np.array(PART_MAKE_DRIFT)[state.part_make[at]]
    stress = fleet.heat[rows] ** 1.3 * np.exp(0.03 * (fleet.volts[rows] - 238.0)) * np.array([1.0, 1.15, 0.5])[sections]
    law = rng.choice(4, k, p=LAW_SHARE[state.drift_law])
    state.law[at] = law
    state.offset[at] = rng.normal(0.0, 1.7, k)
    slow, fast = rng.lognormal(np.log(0.75), 0.85, k), rng.lognormal(np.log(3.6), 0.6, k)
    state.rate[at] = np.select(
        [law == TWO_PHASE, law == ACCELERATING], [fast, rng.lognormal(np.log(0.35), 0.6, k)], slow
    )
    state.rate[at] *= quality * stress
    state.onset[at] = rng.weibull(1.7, k) * 7.5 / np.sqrt(quality)
    state.tau[at] = rng.uniform(1.9, 5.5, k)
    state.origin[at] = when
    state.opened[at] = False
    past = np.maximum(fleet.entry[rows] - when, 0) / YEAR_DAYS
    state.extra[at] = _random_steps(rng, law, state.rate[at], past)


def drift_pct(state: Condition, rows: Ints | slice, when: Ints | int) -> Floats:
    """Return the true drift (k, 3) of the sections of ``rows`` on ``when``; meaningless where there is no section."""
    day_of = np.asarray(when)
    age = np.maximum((day_of[..., None] if day_of.ndim else day_of) - state.origin[rows], 0) / YEAR_DAYS
    law, rate = state.law[rows], state.rate[rows]
    path = np.select(
        [law == LINEAR, law == TWO_PHASE, law == ACCELERATING],
        [
            -rate * age,
            -0.15 * age - rate * np.maximum(age - state.onset[rows], 0.0),
            -rate * np.expm1(np.minimum(age / state.tau[rows], 5.0)),
        ],
        0.0,
    )
    drift = np.maximum(state.offset[rows] + path + state.extra[rows], -92.0)
    return np.where(state.opened[rows], OPEN_PCT, drift)


def _random_steps(rng: np.random.Generator, law: Ints, rate: Floats, years: Floats) -> Floats:
    """Return the random part of a path over ``years``: gamma jumps down for the jump law, a small wander for all."""
    wander = rng.normal(0.0, 1.0, law.shape) * np.sqrt(0.12 * years)
    jumps = rng.standard_gamma(np.maximum(0.8 * years, 1e-9)) * rate / 0.8
    return wander - np.where(law == GAMMA, jumps, 0.0)


def advance(rng: np.random.Generator, fleet: Fleet, state: Condition, start: int, end: int, load: float) -> None:
    """Move every unit from ``start`` to ``end``; ``load`` is the share of a cooling season in between."""
    years = (end - start) / YEAR_DAYS
    live = (fleet.entry < end)[:, None]
    state.extra += np.where(live, _random_steps(rng, state.law, state.rate, np.full(state.law.shape, years)), 0.0)
    leaking = state.leak_from < start
    state.charge_pct = np.maximum(state.charge_pct - np.where(leaking, state.leak_pct_per_year * years, 0.0), -70.0)
    state.wear += state.wear_per_year * years
    state.fouling = np.minimum(state.fouling + 0.09 * years * fleet.heat, 1.0)
    state.filter_dirt = np.minimum(state.filter_dirt + 0.12 * years, 1.0)
    state.pitting = np.minimum(state.pitting + 0.055 * load * fleet.heat * rng.lognormal(0.0, 0.5, len(fleet)), 1.0)


def hazards(fleet: Fleet, state: Condition, when: int, law: FailureLaw) -> Floats:
    """Return the hazard of a no-cooling call per unit and cause (n, causes), in events per whole cooling season."""
    drift = drift_pct(state, slice(None), when)
    present = state.rated > 0
    age = np.clip((when - fleet.installed) / YEAR_DAYS, 0.1, 30.0)
    make = np.array(MAKE_HAZARD)[fleet.make]
    common = make * fleet.frailty
    lost = np.maximum(-state.charge_pct, 0.0)
    out = np.zeros((len(fleet), len(CAUSES)))

    def logistic(value: Floats, middle: float, scale: float) -> Floats:
        return 1.0 / (1.0 + np.exp(np.clip((value - middle) / scale, -30.0, 30.0)))

    steep = 1.0 if law != "proportional" else 1.7
    sections = np.stack(
        [
            0.95 * logistic(drift[:, 0], -20.0, 2.4 * steep),
            0.75 * logistic(drift[:, 1], -28.0, 3.2 * steep),
            0.35 * logistic(drift[:, 2], -30.0, 4.0 * steep),
        ],
        axis=1,
    )
    sections = np.where(state.opened, 25.0, sections) * present
    out[:, CAUSE["run_capacitor"]] = sections.sum(axis=1) * np.sqrt(fleet.heat)
    out[:, CAUSE["contactor"]] = 0.0012 + 0.03 * state.pitting**2.5
    out[:, CAUSE["condenser_fan_motor"]] = (
        0.0012 * (age / 8.0) ** 1.3 * (1.0 + 0.02 * np.clip(-drift[:, 1], 0, 60) * present[:, 1])
    )
    out[:, CAUSE["compressor"]] = 0.0004 * (age / 8.0) ** 1.6 * np.exp(np.clip(14.0 * state.wear, -1.0, 3.5))
    out[:, CAUSE["refrigerant_leak"]] = 0.0004 + 0.009 * np.expm1(np.minimum(lost / 13.0, 4.0))
    out[:, CAUSE["metering_device"]] = 0.0006 * (age / 8.0)
    out[:, CAUSE["reversing_valve"]] = np.where(fleet.heat_pump, 0.0008, 0.0)
    out[:, CAUSE["control_board"]] = 0.0022 * (1.0 + fleet.mini_split)
    out[:, CAUSE["thermostat"]] = 0.0018
    out[:, CAUSE["transformer"]] = 0.0007
    out[:, CAUSE["condensate_drain"]] = 0.0035
    out[:, CAUSE["blower_motor"]] = 0.0016 * (age / 8.0)
    out[:, CAUSE["dirty_coil"]] = 0.006 * state.fouling**2 + 0.004 * state.filter_dirt**2
    out[:, CAUSE["wiring"]] = 0.0014
    out[:, CAUSE["no_fault_found"]] = 0.0016
    if law == "late":
        out[:, 1:] *= ((age / 9.0) ** 1.4)[:, None]
    if law == "proportional":
        log_rate = (
            -4.6
            + 0.045 * np.clip(-drift[:, 0] * present[:, 0], 0, 60)
            + 0.05 * lost
            + 0.05 * age
            + 0.4 * state.failures
        )
        total = np.exp(np.minimum(log_rate, 0.0))
        share = out / out.sum(axis=1, keepdims=True)
        out = share * total[:, None]
    return out * (common * (1.0 + 0.25 * np.minimum(state.failures, 3.0)))[:, None] ** np.where(
        np.arange(len(CAUSES)) == CAUSE["run_capacitor"], 0.4, 1.0
    )


def open_suddenly(rng: np.random.Generator, state: Condition, load: float) -> None:
    """Let a few sections fail open without warning during a share ``load`` of a season."""
    state.opened |= (rng.random(state.opened.shape) < SUDDEN_OPENS_PER_YEAR * load) & (state.rated > 0)
