"""Simulated fleets with known charge and airflow faults, and what a model that knows the law would answer.

Three worlds: FIRST; SECOND with other sizes, other spreads, effects that differ from unit to unit, and a hidden load
that moves every reading of a visit together; THIRD, written after the scoring was settled, with other refrigerants, a
fifth of the visits faulty, severities of any size whose effects grow faster than they do, skewed systems and readings
with heavy tails. What holds on one only is tuned to it.

Independent of ``pipeline.enrich``'s scoring on purpose: effects are sizes in degF, not signs, and are an engineering
guess in the range of published laboratory work (common practice, no source). Noise as stated in issue 5: 1 degF on
temperatures, 2 psi suction, 4 psi liquid, 0.5 degF wet bulb.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.enrich.refrigerants import bubble_psia, dew_psia
from tests.saturation import bubble_f, dew_f

Floats = NDArray[np.float64]
REFRIGERANTS = ("R-22", "R-410A", "R-32")
METERINGS = ("fixed_orifice", "txv")
STATE = ("t_evap", "t_sh", "t_cond", "t_sc", "t_hg", "dt_ca", "dt_ea")
Effects = Mapping[str, Mapping[str, tuple[float, ...]]]
# What a fault of 25 % severity does to the state, degF, in the order of STATE.
EFFECTS: Effects = {
    "fixed_orifice": {
        "undercharge": (-5.0, 14.0, -5.0, -7.0, 14.0, -3.0, -2.5),
        "overcharge": (2.5, -9.0, 6.0, 8.0, -6.0, 1.5, -0.5),
        "liquid_line_restriction": (-6.0, 15.0, -2.5, 5.0, 14.0, -3.0, -3.0),
        "condenser_fouling": (2.0, -5.0, 8.0, -2.0, 8.0, 6.0, -1.0),
        "low_indoor_airflow": (-5.0, -8.0, -2.5, -1.0, -5.0, -2.0, 4.5),
        "compressor_valve_leakage": (6.0, -7.0, -5.0, -3.0, 2.0, -4.0, -4.5),
        "non_condensables": (0.7, -1.5, 6.0, 6.0, 5.0, 1.0, -0.5),
    },
    "txv": {
        "undercharge": (-0.5, 1.0, -4.0, -8.0, 3.0, -1.5, -0.3),
        "overcharge": (0.3, -0.5, 6.0, 9.0, 3.0, 1.0, 0.0),
        "liquid_line_restriction": (-4.0, 10.0, -1.0, 5.0, 9.0, -2.0, -2.0),
        "condenser_fouling": (1.0, -0.5, 8.0, -1.5, 9.0, 6.0, -0.7),
        "low_indoor_airflow": (-5.0, -1.5, -2.5, -1.0, -2.0, -2.0, 4.5),
        "compressor_valve_leakage": (6.0, -0.5, -5.0, -1.5, 2.0, -4.0, -4.0),
        "non_condensables": (0.5, -0.5, 6.0, 6.0, 5.0, 1.0, -0.3),
    },
}
OTHER_EFFECTS: Effects = {
    "fixed_orifice": {
        "undercharge": (-7.0, 18.0, -3.5, -4.5, 20.0, -4.5, -4.0),
        "overcharge": (1.2, -6.5, 8.5, 10.5, -3.0, 0.8, -0.2),
        "liquid_line_restriction": (-8.5, 20.0, -4.5, 3.0, 18.0, -4.0, -4.2),
        "condenser_fouling": (1.2, -3.0, 11.0, -1.0, 11.0, 4.0, -0.5),
        "low_indoor_airflow": (-6.5, -5.5, -3.5, -2.0, -3.5, -3.0, 6.0),
        "compressor_valve_leakage": (8.0, -4.5, -6.5, -4.5, 3.0, -5.0, -5.5),
        "non_condensables": (0.3, -0.7, 8.0, 4.5, 7.0, 0.5, -0.3),
    },
    "txv": {
        "undercharge": (-1.5, 2.5, -2.8, -6.0, 5.0, -2.0, -0.8),
        "overcharge": (0.2, -0.3, 8.0, 11.0, 2.0, 0.6, 0.0),
        "liquid_line_restriction": (-5.5, 7.0, -1.5, 7.0, 6.0, -1.4, -2.8),
        "condenser_fouling": (0.6, -0.3, 10.0, -1.0, 11.0, 4.5, -0.4),
        "low_indoor_airflow": (-6.5, -1.0, -3.2, -1.6, -1.2, -2.8, 5.5),
        "compressor_valve_leakage": (8.0, -0.8, -6.5, -2.2, 3.0, -5.0, -5.0),
        "non_condensables": (0.3, -0.3, 7.5, 5.0, 6.0, 0.6, -0.2),
    },
}
THIRD_EFFECTS: Effects = {
    "fixed_orifice": {
        "undercharge": (-4.0, 19.0, -6.0, -8.0, 17.0, -4.0, -3.5),
        "overcharge": (3.5, -11.0, 8.0, 7.0, -9.0, 1.0, 0.5),
        "liquid_line_restriction": (-8.0, 17.0, -1.5, 7.0, 12.0, -2.5, -4.0),
        "condenser_fouling": (3.0, -2.5, 12.0, 0.5, 14.0, 7.0, -1.5),
        "low_indoor_airflow": (-6.0, -6.0, -1.5, 0.5, -2.0, -1.0, 6.5),
        "compressor_valve_leakage": (9.0, -5.0, -4.0, -1.0, 6.0, -3.0, -5.0),
        "non_condensables": (1.0, -0.5, 9.0, 8.0, 9.0, 0.0, -0.8),
    },
    "txv": {
        "undercharge": (-2.0, 5.0, -5.0, -9.0, 8.0, -3.0, -1.2),
        "overcharge": (0.8, -1.0, 7.0, 10.0, 4.0, 0.5, 0.0),
        "liquid_line_restriction": (-6.0, 12.0, 0.0, 6.0, 10.0, -1.5, -2.5),
        "condenser_fouling": (1.5, 0.0, 12.0, 0.5, 13.0, 7.0, -1.2),
        "low_indoor_airflow": (-6.5, -2.5, -1.5, 0.5, -1.0, -1.2, 6.0),
        "compressor_valve_leakage": (8.0, -2.0, -4.0, -0.5, 6.0, -3.0, -4.5),
        "non_condensables": (0.8, 0.0, 9.0, 8.0, 9.0, 0.0, -0.5),
    },
}


@dataclass(frozen=True, eq=False)
class World:
    """One law of how systems differ and fail; spreads in degF in the order of STATE.

    Effects grow with severity to the power ``growth``; ``any_severity`` draws them between the ends of ``severities``;
    ``skewed`` draws systems from a gamma law and errors from Student's with 4 degrees of freedom, of the same spreads.
    """

    effects: Effects
    severities: tuple[float, ...]
    unit_sd: Floats
    visit_sd: Floats
    load_f: Floats
    gain_sd: float
    bend: float
    refrigerants: tuple[str, ...] = REFRIGERANTS
    faulty_share: float = 0.5
    growth: float = 1.0
    any_severity: bool = False
    skewed: bool = False


FIRST = World(
    EFFECTS,
    (0.15, 0.25),
    unit_sd=np.array([1.5, 2.0, 2.5, 1.5, 8.0, 2.5, 1.0]),
    visit_sd=np.array([0.8, 1.0, 0.8, 0.7, 2.0, 0.8, 0.5]),
    load_f=np.zeros(7),
    gain_sd=0.0,
    bend=0.08,
)
SECOND = World(
    OTHER_EFFECTS,
    (0.10, 0.15, 0.25, 0.35),
    unit_sd=np.array([2.0, 1.5, 3.0, 2.0, 10.0, 2.0, 1.4]),
    visit_sd=np.array([0.9, 0.9, 0.9, 0.9, 3.0, 1.0, 0.6]),
    load_f=np.array([0.8, -0.7, 0.9, 0.4, 2.0, 0.5, 0.4]),
    gain_sd=0.25,
    bend=-0.06,
)
THIRD = World(
    THIRD_EFFECTS,
    (0.08, 0.16, 0.24, 0.32, 0.4),
    unit_sd=np.array([1.8, 2.2, 2.2, 1.8, 7.0, 3.0, 1.3]),
    visit_sd=np.array([0.7, 1.2, 1.0, 0.8, 3.0, 0.8, 0.7]),
    load_f=np.array([-0.6, 0.5, 0.6, -0.3, 1.5, 0.6, 0.3]),
    gain_sd=0.3,
    bend=0.03,
    refrigerants=("R-407C", "R-454B", "R-410A"),
    faulty_share=0.2,
    growth=1.3,
    any_severity=True,
    skewed=True,
)
LINE_SD, WET_BULB_SD, SUCTION_SD, LIQUID_SD = 1.0, 0.5, 2.0, 4.0


@dataclass(frozen=True)
class Simulated:
    """Visits and units as the pipeline takes them, and per last visit the truth and the knowing model's answer."""

    visits: pl.DataFrame
    units: pl.DataFrame
    truth: pl.DataFrame


def usual_state(metering: str, outdoor: Floats, dry: Floats, wet: Floats, bend: float = FIRST.bend) -> Floats:
    """Return the state of a unit in order, 7 x n; its laws are not the pipeline's."""
    target = np.maximum((3 * wet - 80 - outdoor) / 2 + bend * (wet - 64), 2.0)  # a chart that bends off the formula
    orifice = metering == "fixed_orifice"
    return np.array(
        [
            39.0 + 0.75 * (wet - 65) + (0.12 if orifice else 0.05) * (outdoor - 90),
            target if orifice else np.full_like(wet, 9.0),
            outdoor + 22.0 - 0.05 * (outdoor - 90),
            np.full_like(wet, 9.0),
            outdoor + 72.0 + 0.3 * (outdoor - 90),
            np.full_like(wet, 16.0),
            18.5 + 0.55 * (dry - 76) - 0.7 * (wet - 64),
        ]
    )


def simulate(
    per_fault: int,
    *,
    seed: int,
    earlier: int = 3,
    rare_share: float = 0.3,
    faults: bool = True,
    world: World = FIRST,
) -> Simulated:
    """Return ``per_fault`` units per kind of fault and severity, and as many in order as the world's share leaves.

    Parameters
    ----------
    per_fault : int
        Units of each kind.
    seed : int
        Of the random numbers.
    earlier : int
        Visits in order before the one that counts, a year apart.
    rare_share : float
        Share of visits on which discharge line and condenser leaving air were read.
    faults : bool
        Whether there are faulty units at all.
    world : World
        The law.
    """
    rng = np.random.default_rng(seed)
    parts: list[pl.DataFrame] = []
    truths: list[pl.DataFrame] = []
    for refrigerant in world.refrigerants:
        for metering in METERINGS:
            names, severities = _cast(rng, world, metering, per_fault, faults)
            part, truth = _group(rng, world, refrigerant, metering, names, severities, earlier, rare_share)
            parts.append(part)
            truths.append(truth)
    visits, truth = pl.concat(parts), pl.concat(truths)
    units = truth.select("unit_id", "refrigerant", "metering", nominal_tons=pl.lit(3.0), equipment=pl.lit("split_ac"))
    return Simulated(visits.drop("refrigerant", "metering"), units, truth)


def _cast(
    rng: np.random.Generator, world: World, metering: str, per_fault: int, faults: bool
) -> tuple[list[str], list[float]]:
    sick = [(f, s) for f in world.effects[metering] for s in world.severities for _ in range(per_fault)]
    if world.any_severity:
        sick = [(f, float(rng.uniform(world.severities[0], world.severities[-1]))) for f, _ in sick]
    well = [("no_fault", 0.0)] * round(len(sick) * (1.0 - world.faulty_share) / world.faulty_share)
    chosen = sick + well if faults else well
    return [f for f, _ in chosen], [s for _, s in chosen]


def _group(
    rng: np.random.Generator,
    world: World,
    refrigerant: str,
    metering: str,
    names: list[str],
    severities: list[float],
    earlier: int,
    rare_share: float,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    n = len(names)
    drawn = (rng.gamma(4.0, 1.0, (7, n)) - 4.0) / 2.0 if world.skewed else rng.normal(0, 1, (7, n))
    own = drawn * world.unit_sd[:, None]
    effect = np.array([_effect(world, metering, f, s) for f, s in zip(names, severities, strict=True)]).T
    if world.gain_sd:
        effect = effect * (1.0 + rng.normal(0, world.gain_sd, (7, n)))
    ids = [f"{refrigerant}-{metering}-{k:05d}" for k in range(n)]
    frames, seen = [], []
    for k in range(earlier + 1):
        outdoor, dry = rng.uniform(78, 100, n), rng.uniform(72, 80, n)
        lowest = (outdoor + 80 + 2 * 9) / 3  # so that a fixed orifice has a target of 9 or more
        wet = np.clip(np.maximum(lowest, dry - rng.uniform(8, 14, n)), 58, np.minimum(dry - 2, 74))
        usual = usual_state(metering, outdoor, dry, wet, world.bend)
        state = usual + own + rng.normal(0, 1, (7, n)) * world.visit_sd[:, None] + (effect if k == earlier else 0.0)
        if world.load_f.any():
            state = state + world.load_f[:, None] * rng.normal(0, 1, n)
        state[1], state[3] = np.maximum(state[1], -1.0), np.maximum(state[3], 0.0)
        frame = _read(rng, refrigerant, state, (outdoor, dry, wet), rare_share, world.skewed)
        seen.append(_observed(refrigerant, frame) - usual)
        labels = {"unit_id": ids, "visit_id": [f"{i}-{k}" for i in ids]}
        when = pl.lit(dt.date(2020 + k, 7, 1))
        frames.append(frame.with_columns(**{c: pl.Series(v) for c, v in labels.items()}, visit_date=when))
    p_true = _knowing(world, refrigerant, metering, seen, names)
    truth = pl.DataFrame({"unit_id": ids, "fault": names, "severity": severities, "p_true": p_true}).with_columns(
        refrigerant=pl.lit(refrigerant), metering=pl.lit(metering), visit_id=pl.col("unit_id") + f"-{earlier}"
    )
    return pl.concat(frames).with_columns(refrigerant=pl.lit(refrigerant), metering=pl.lit(metering)), truth


def _effect(world: World, metering: str, fault: str, severity: float) -> Floats:
    return (
        np.zeros(7)
        if fault == "no_fault"
        else np.array(world.effects[metering][fault]) * (severity / 0.25) ** world.growth
    )


def _slopes(refrigerant: str) -> tuple[float, float]:
    """Return degF per psi at 40 degF dew and 112 degF bubble."""
    dew = 1.0 / float(dew_psia(refrigerant, 40.5) - dew_psia(refrigerant, 39.5))
    return dew, 1.0 / float(bubble_psia(refrigerant, 112.5) - bubble_psia(refrigerant, 111.5))


def _read(
    rng: np.random.Generator,
    refrigerant: str,
    state: Floats,
    air: tuple[Floats, Floats, Floats],
    rare: float,
    heavy_tails: bool,
) -> pl.DataFrame:
    outdoor, dry, wet = air
    n = outdoor.size
    t_evap, t_sh, t_cond, t_sc, t_hg, dt_ca, dt_ea = state
    read = rng.random(n) < rare

    def noisy(values: Floats, sd: float) -> Floats:
        error = rng.standard_t(4.0, n) / 2.0**0.5 if heavy_tails else rng.normal(0, 1, n)
        return values + sd * error

    return pl.DataFrame(
        {
            "outdoor_db_f": noisy(outdoor, LINE_SD),
            "return_db_f": noisy(dry, LINE_SD),
            "return_wb_f": noisy(wet, WET_BULB_SD),
            "supply_db_f": noisy(dry - dt_ea, LINE_SD),
            "suction_psig": noisy(dew_psia(refrigerant, t_evap) - 14.696, SUCTION_SD),
            "liquid_psig": noisy(bubble_psia(refrigerant, t_cond) - 14.696, LIQUID_SD),
            "suction_line_f": noisy(t_evap + t_sh, LINE_SD),
            "liquid_line_f": noisy(t_cond - t_sc, LINE_SD),
            "discharge_line_f": np.where(read, noisy(t_hg, LINE_SD), np.nan),
            "condenser_leaving_f": np.where(read, noisy(outdoor + dt_ca, LINE_SD), np.nan),
        }
    ).with_columns(pl.col("discharge_line_f", "condenser_leaving_f").fill_nan(None), mode=pl.lit("cooling"))


def _observed(refrigerant: str, frame: pl.DataFrame) -> Floats:
    """Return the state as the readings show it, NaN where not read."""
    get = {name: frame[name].to_numpy() for name in frame.columns if name != "mode"}
    t_evap = dew_f(refrigerant, get["suction_psig"] + 14.696)
    t_cond = bubble_f(refrigerant, get["liquid_psig"] + 14.696)
    return np.array(
        [
            t_evap,
            get["suction_line_f"] - t_evap,
            t_cond,
            t_cond - get["liquid_line_f"],
            get["discharge_line_f"],
            get["condenser_leaving_f"] - get["outdoor_db_f"],
            get["return_db_f"] - get["supply_db_f"],
        ]
    )


def _knowing(world: World, refrigerant: str, metering: str, seen: list[Floats], names: list[str]) -> Floats:
    """Return the posterior of the true answer for one who knows conditions, effects, spreads and noise.

    The world's share in order, the faults equally likely; severities cut off at nothing left to lose are ignored, and
    where the world's laws are skewed or of any severity, normal ones of the same spreads and a few severities stand in.
    """
    gauge, liquid = (slope * sd for slope, sd in zip(_slopes(refrigerant), (SUCTION_SD, LIQUID_SD), strict=True))
    visit = np.diag(world.visit_sd**2 + np.array([0, 1, 0, 1, 1, 2, 2]) * LINE_SD**2)
    visit += np.outer(world.load_f, world.load_f)
    for a, b, sd, same in ((0, 1, gauge, -1.0), (2, 3, liquid, 1.0)):
        visit[np.ix_([a, b], [a, b])] += sd**2 * np.array([[1.0, same], [same, 1.0]])
    unit, earlier = np.diag(world.unit_sd**2), len(seen) - 1
    off, spread = seen[-1], unit + visit
    if earlier:
        gain = unit @ np.linalg.inv(unit + visit / earlier)
        mean = np.nan_to_num(np.nanmean(np.array([np.nan_to_num(x) for x in seen[:-1]]), axis=0))
        off, spread = off - gain @ mean, unit - gain @ unit + visit
    answers = ["no_fault", *world.effects[metering]]
    log_p = np.full((len(answers), len(names)), -np.inf)
    unread = np.isnan(off[4])
    for k, answer in enumerate(answers):
        share = 1.0 - world.faulty_share if k == 0 else world.faulty_share / (len(answers) - 1)
        prior = np.log(share) - np.log(len(world.severities))
        for severity in world.severities:
            effect = _effect(world, metering, answer, severity)
            left = off - effect[:, None]
            about = spread + np.diag((world.gain_sd * effect) ** 2)
            for mask, columns in ((unread, [0, 1, 2, 3, 6]), (~unread, list(range(7)))):
                part = left[np.ix_(columns, np.flatnonzero(mask))]
                own_spread = about[np.ix_(columns, columns)]
                inverse, size = np.linalg.inv(own_spread), np.linalg.slogdet(own_spread)[1]
                fit = prior - 0.5 * (np.einsum("in,ij,jn->n", part, inverse, part) + size)
                log_p[k, mask] = np.logaddexp(log_p[k, mask], fit)
    p = np.exp(log_p - log_p.max(axis=0))
    p /= p.sum(axis=0)
    found: Floats = p[[answers.index(f) for f in names], np.arange(len(names))]
    return found
