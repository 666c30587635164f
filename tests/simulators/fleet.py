"""A simulated shop: what is true month by month, and what its technicians wrote down."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.forecast.history import History
from tests.simulators.laws import State, draw_parts, hazard, jump_step, path
from tests.simulators.written import SECTIONS, TOLERANCE, Records, written_history, year_of_day

Floats = npt.NDArray[np.float64]

EPOCH_YEAR = 2000.0
FIRST_YEAR = 2018
PROFILE = np.array([0.005, 0.005, 0.01, 0.02, 0.12, 0.22, 0.26, 0.20, 0.12, 0.02, 0.01, 0.01])
RATED = {"herm": np.array([30.0, 35.0, 40.0, 45.0]), "fan": np.array([5.0, 7.5, 10.0])}
HORIZON_YEARS = 16


@dataclass(frozen=True)
class Shop:
    """Knobs of a simulated shop."""

    units: int = 3000
    years: int = 5
    ageing: str = "mixed"
    failing: str = "additive"
    seed: int = 1
    tune_up_share: float = 0.65
    reading_share: float = 0.9
    load_share: float = 0.15
    bad_share: float = 0.02
    copier_share: float = 0.4
    unrecorded_share: float = 0.25
    no_install_share: float = 0.15
    replace_share: float = 0.6
    weather_sd: float = 0.15
    noise_pct: float = 1.6
    inferred_rating_share: float = 0.0
    as_of_month: int = 4
    """Month index (0 = January) at whose end the data stop in the last year; 0 = 1 February, 4 = end of May."""


@dataclass(frozen=True)
class Fleet:
    """What the shop recorded, the day it stops, and the truth from then on (aligned with ``units``)."""

    history: History
    as_of: dt.date
    units: list[str]
    p_true: Floats
    failed: npt.NDArray[np.bool_]
    drift_now: dict[str, Floats]
    drift_later: dict[str, Floats]
    crossing_year: dict[str, Floats]
    born_year: dict[str, Floats]
    part_scale: dict[str, Floats]
    meter_pct: Floats
    weather: dict[int, float]


def simulate(shop: Shop) -> Fleet:
    """Return a fleet whose data stop on the as-of day, with the truth of the season in question."""
    rng = np.random.default_rng(shop.seed)
    n = shop.units
    ids = np.array([f"U{i:06d}" for i in range(n)])
    install = FIRST_YEAR - rng.uniform(-3.0, 16.0, n)
    joined = np.maximum(np.where(rng.random(n) < 0.6, FIRST_YEAR, FIRST_YEAR + rng.uniform(0, shop.years, n)), install)
    make = rng.integers(0, 8, n)
    make_effect = np.exp(rng.normal(0, 0.3, 8))[make]
    frailty = rng.gamma(4.0, 0.25, n)
    strength = rng.normal(-19, 4, n)
    agreement = rng.random(n) < 0.75
    scale = np.exp(rng.normal(0, 0.25, 8))
    rated = {s: rng.choice(RATED[s], n) for s in SECTIONS}
    offset = {s: rng.normal(0, 1.5, n) for s in SECTIONS}
    part_scale = {s: (1.0 if s == "herm" else 1.25) * scale[make] for s in SECTIONS}
    parts = {s: draw_parts(rng, shop.ageing, n, part_scale[s]) for s in SECTIONS}
    earlier = (rng.random(n) < shop.unrecorded_share) & (joined - install > 1)
    born = np.where(earlier, install + rng.uniform(0.2, 1.0, n) * (joined - install), install)
    born = {"herm": born.copy(), "fan": born.copy()}
    jumps = {s: np.zeros(n) for s in SECTIONS}
    for s in SECTIONS:
        age = np.maximum(FIRST_YEAR - born[s], 0)
        rate = parts[s][:, 1] * 0.8
        jumps[s] = rng.gamma(np.maximum(rate * age / 1.6, 1e-9), 1.6)
    leak = np.where(rng.random(n) < 0.22, np.exp(rng.normal(0.7, 0.7, n)), 0.0)
    loss = leak * np.minimum(rng.uniform(0, 3, n), np.maximum(FIRST_YEAR - install, 0)) + 0.0
    charge_offset = rng.normal(0, 1.5, n)
    load0, wear = rng.normal(0.80, 0.06, n), np.where(rng.random(n) < 0.12, rng.uniform(0.01, 0.06, n), 0.0)
    rla = rng.uniform(10, 24, n)
    calls = np.zeros(n)
    call_year = np.full(n, -99.0)
    technicians = np.array(["T1", "T2", "T3", "T4", "T5"])
    meter = rng.normal(0, 0.8, 5)
    meter -= meter.mean()
    series = {s: np.ones(n, dtype=np.int64) for s in SECTIONS}
    started = {s: np.full(n, np.nan) for s in SECTIONS}
    log: list[tuple[str, int, int, float, float, str]] = []
    records = Records()
    ticket = 0
    summers: dict[int, float] = {}
    last_year = FIRST_YEAR + shop.years
    months = shop.years * 12 + shop.as_of_month + 1

    def state(when: float) -> State:
        drift = {s: offset[s] + path(parts[s], np.maximum(when - born[s], 0.0), jumps[s]) for s in SECTIONS}
        return State(
            drift["herm"],
            drift["fan"],
            loss,
            load0 + wear * np.maximum(when - install, 0) / 2,
            np.maximum(when - install, 0.1),
            frailty,
            strength,
            calls * (when - call_year < 3),
            make_effect,
        )

    def dates(year: int, month: int, days: npt.NDArray[np.int64]) -> list[dt.date]:
        return [dt.date(year, month + 1, int(d)) for d in days]

    def visit(i: npt.NDArray[np.int64], year: int, month: int, kind: str, cause: npt.NDArray[np.str_] | None) -> None:
        nonlocal ticket
        if not len(i):
            return
        days = rng.integers(1, 29, len(i))
        on = dates(year, month, days)
        when = year + (month + 0.5) / 12
        s0 = state(when)
        vid = np.array([f"V{ticket + j:07d}" for j in range(len(i))])
        ticket += len(i)
        hand = (i // 37 + year + rng.integers(0, 2, len(i))) % 5
        cool = rng.uniform(65, 100, len(i))
        amps = rla[i] * s0.load[i] * (1 + 0.08 * (cool - 85) / 10) * np.exp(rng.normal(0, 0.03, len(i)))
        wrote_amps = rng.random(len(i)) < 0.6
        tested = (rng.random(len(i)) < 0.6) & (kind == "maintenance")
        seen = loss[i] + charge_offset[i] + rng.normal(0, 3.0, len(i))
        top_up = np.where(
            kind == "maintenance",
            tested & (seen > 10) & (rng.random(len(i)) < 0.7),
            (cause == "refrigerant_leak") if cause is not None else False,
        )
        records.add(
            "visits",
            unit_id=ids[i],
            visit_id=vid,
            visit_date=on,
            visit_type=np.full(len(i), kind),
            cause=cause if cause is not None else pl.Series([None] * len(i), dtype=pl.String),
            refrigerant_added_oz=np.where(top_up, np.round(6 + 2 * loss[i]), np.nan),
            compressor_amps=np.where(wrote_amps, np.round(amps, 1), np.nan),
            outdoor_db_f=np.round(cool),
            line_volts=np.full(len(i), 240.0),
        )
        t = np.flatnonzero(tested)
        records.add(
            "charge",
            unit_id=ids[i[t]],
            visit_id=vid[t],
            visit_date=[on[j] for j in t],
            leak_loss_f=np.round(seen[t], 1),
            superheat_deviation_f=np.round(seen[t], 1),
        )
        swap = np.zeros(len(i), dtype=bool)
        read_at = rng.random(len(i)) < shop.reading_share
        values, ways = {}, {}
        for s in SECTIONS:
            drift = s0.herm[i] if s == "herm" else s0.fan[i]
            under_load = rng.random(len(i)) < shop.load_share
            y = (
                drift
                + meter[hand]
                + np.where(under_load, rng.normal(-2, 4.0, len(i)), rng.normal(0, shop.noise_pct, len(i)))
            )
            y = y + (rng.random(len(i)) < shop.bad_share) * rng.choice([-12.0, 12.0], len(i))
            copied = (hand == 4) & (rng.random(len(i)) < shop.copier_share)
            measured = np.round(rated[s][i] * (1 + y / 100), 1)
            values[s] = np.where(copied, rated[s][i], np.maximum(measured, 0.5))
            ways[s] = np.where(under_load, "under_load", "bench")
            out = read_at & (values[s] / rated[s][i] < 1 - TOLERANCE / 100 - 0.005)
            swap |= out & (rng.random(len(i)) < shop.replace_share) & (kind == "maintenance")
        if cause is not None:
            swap |= cause == "run_capacitor"
        for s in SECTIONS:
            j = np.flatnonzero(read_at)
            records.add(
                "cap_readings",
                unit_id=ids[i[j]],
                visit_id=vid[j],
                visit_date=[on[k] for k in j],
                section=np.full(len(j), s),
                series=series[s][i[j]],
                rated_uf=rated[s][i[j]],
                measured_uf=values[s][j],
                method=ways[s][j],
                drift_pct=np.round(100 * (values[s][j] / rated[s][i[j]] - 1), 2),
                technician=technicians[hand[j]],
                at_replacement=swap[j],
                scheduled=np.full(len(j), kind == "maintenance"),
            )
        k = np.flatnonzero(swap)
        records.add(
            "parts",
            unit_id=ids[i[k]],
            visit_id=vid[k],
            visit_date=[on[j] for j in k],
            part=np.full(len(k), "run_capacitor"),
        )
        for s in SECTIONS:
            for j in k:
                u = i[j]
                log.append((ids[u], int(series[s][u]), SECTIONS.index(s), float(started[s][u]), year_of_day(on[j]), s))
                started[s][u] = year_of_day(on[j])
            u = i[k]
            series[s][u] += 1
            born[s][u] = when
            offset[s][u] = rng.normal(0, 1.5, len(k))
            jumps[s][u] = 0.0
            part_scale[s][u] = 1.0 if s == "herm" else 1.25
            parts[s][u] = draw_parts(rng, shop.ageing, len(k), part_scale[s][u])
        topped = i[np.flatnonzero(top_up)]
        loss[topped] = 0.0
        fixed = topped[rng.random(len(topped)) < 0.3]
        leak[fixed] = 0.0
        if cause is not None:
            new = i[cause == "compressor"]
            load0[new], wear[new] = 0.78, 0.0
            records.add(
                "parts",
                unit_id=ids[new],
                visit_id=vid[cause == "compressor"],
                visit_date=[on[j] for j in np.flatnonzero(cause == "compressor")],
                part=np.full(len(new), "compressor"),
            )
            other = i[cause == "other"]
            calls[other] = np.minimum(calls[other] * (when - call_year[other] < 3) + 1, 3)
            call_year[other] = when

    causes = np.array(["run_capacitor", "refrigerant_leak", "compressor", "other"])
    plan: npt.NDArray[np.int64] = np.zeros(n, dtype=np.int64)
    for m in range(months):
        year, month = FIRST_YEAR + m // 12, m % 12
        when = year + (month + 0.5) / 12
        if month == 0:
            weather = summers[year] = float(np.exp(rng.normal(0, shop.weather_sd)))
            share = np.where(agreement, shop.tune_up_share, 0.25)
            plan = np.where(rng.random(n) < share, rng.choice([2, 3, 3, 4], n), -1)
        for s in SECTIONS:
            jumps[s] += jump_step(rng, parts[s])
        loss += leak / 12
        here = joined <= when
        first = np.flatnonzero((joined > when - 1 / 12) & here & (m > 0))
        visit(np.union1d(first, np.flatnonzero((plan == month) & here)), year, month, "maintenance", None)
        by = hazard(shop.failing, state(when))
        each = np.column_stack([by[c] for c in causes]) * PROFILE[month] / PROFILE[4:9].sum() * weather
        down = np.flatnonzero((rng.random(n) < -np.expm1(-each.sum(axis=1))) & here)
        pick = (
            rng.random(len(down))[:, None] > np.cumsum(each[down] / each[down].sum(axis=1, keepdims=True), axis=1)
        ).sum(axis=1)
        visit(down, year, month, "no_cooling", causes[np.minimum(pick, 3)])
    as_of = dt.date(last_year, shop.as_of_month + 1, 28) + dt.timedelta(days=4)
    as_of = as_of.replace(day=1)
    truth = _ahead(rng, shop, state, jumps, loss, leak, parts, months, last_year, n)
    known = written_history(rng, shop, ids, install, make, rated, rla, records, series, started, log, n)
    seen = known.visits["unit_id"].unique().sort().to_list()
    keep = np.searchsorted(ids, np.array(seen))
    later = {s: truth[2][s][keep] for s in SECTIONS}
    return Fleet(
        known,
        as_of,
        seen,
        truth[0][keep],
        truth[1][keep],
        {s: truth[4][s][keep] for s in SECTIONS},
        later,
        {s: truth[3][s][keep] for s in SECTIONS},
        {s: born[s][keep] for s in SECTIONS},
        {s: part_scale[s][keep] for s in SECTIONS},
        meter,
        summers,
    )


def _ahead(rng, shop, state, jumps, loss, leak, parts, months, last_year, n):  # type: ignore[no-untyped-def]
    """Truth from the as-of day: odds and one draw of a failure, drift now and a year on, and crossing dates."""
    kept = {s: jumps[s].copy() for s in SECTIONS}
    loss0 = loss.copy()
    replicates = 6 if shop.ageing in {"jumps", "mixed"} else 1
    p = np.zeros(n)
    now = FIRST_YEAR + months / 12
    drift_now = {"herm": state(now).herm.copy(), "fan": state(now).fan.copy()}
    for _ in range(replicates):
        total = np.zeros(n)
        for m in range(months, shop.years * 12 + 9):
            for s in SECTIONS:
                jumps[s] += jump_step(rng, parts[s])
            loss += leak / 12
            by = hazard(shop.failing, state(FIRST_YEAR + (m + 0.5) / 12))
            total += sum(by.values()) * PROFILE[m % 12] / PROFILE[4:9].sum()
        p += -np.expm1(-total) / replicates
        for s in SECTIONS:
            jumps[s][:] = kept[s]
        loss[:] = loss0
    later: dict[str, Floats] = {}
    crossing = {s: np.where(drift_now[s] < -TOLERANCE, now, np.inf) for s in SECTIONS}
    for m in range(months, months + HORIZON_YEARS * 12):
        for s in SECTIONS:
            jumps[s] += jump_step(rng, parts[s])
        when = FIRST_YEAR + (m + 1) / 12
        s1 = state(when)
        for s, d in (("herm", s1.herm), ("fan", s1.fan)):
            crossing[s] = np.where((crossing[s] == np.inf) & (d < -TOLERANCE), when, crossing[s])
            if m == months + 11:
                later[s] = d.copy()
    for s in SECTIONS:
        jumps[s][:] = kept[s]
    return p, rng.random(n) < p, later, crossing, drift_now
