"""What technicians do: tune-ups, no-cooling calls and returns, with their parts, advice and effect on the unit."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sample_exports.generator.ageing import Condition, drift_pct, fit_parts
from sample_exports.generator.fleet import NEVER, Bools, Fleet, Floats, Ints
from sample_exports.generator.paperwork import add_advice, add_parts
from sample_exports.generator.visits import Ledger, blank_visits, pick_technicians, read_capacitors, read_circuit
from sample_exports.generator.words import (
    APPROVED,
    CALLBACK,
    CAUSE,
    DECLINED,
    FIXED,
    ICED,
    LATER,
    MAINTENANCE,
    NO_COOLING,
    PART,
    REPAIR,
    WAITING,
)

Visits = dict[str, NDArray[np.generic]]
RUN_CAPACITOR = CAUSE["run_capacitor"]


@dataclass
class Shop:
    """The shop at work: its units, their condition, its books and what it still has to come back for."""

    rng: np.random.Generator
    fleet: Fleet
    state: Condition
    ledger: Ledger
    outdoor: Floats
    as_of: int
    due: list[tuple[Ints, Ints, Ints, Ints]] = field(default_factory=list)  # day, unit, visit type, cause

    def come_back(self, days: Ints, units: Ints, visit_type: int, cause: Ints | int) -> None:
        """Note return visits; Sundays are moved to Monday."""
        if len(units):
            days = days + ((days + 3) % 7 == 6)
            k = len(units)
            self.due.append((days, units, np.full(k, visit_type), np.broadcast_to(np.asarray(cause), k).copy()))

    def take_due(self, end: int) -> tuple[Ints, Ints, Ints, Ints]:
        """Return and forget the returns before ``end``."""
        if not self.due:
            none = np.zeros(0, dtype=np.int64)
            return none, none, none, none
        every = tuple(np.concatenate(column) for column in zip(*self.due, strict=True))
        now = every[0] < end
        self.due = [tuple(column[~now] for column in every)]  # type: ignore[list-item]
        return tuple(column[now] for column in every)  # type: ignore[return-value]


def tune_up(shop: Shop, units: Ints, days: Ints, visit_type: Ints | int = MAINTENANCE) -> None:
    """Make planned visits: read, clean, replace what is weak where the customer agrees, top up where it is low."""
    if len(units) == 0:
        return
    rng, fleet, state = shop.rng, shop.fleet, shop.state
    k = len(units)
    visits = blank_visits(units, days, pick_technicians(rng, k), visit_type)
    wanted = np.full(k, True)
    believed = read_capacitors(rng, fleet, state, visits, wanted)
    charge = read_circuit(rng, fleet, state, visits, wanted, shop.outdoor)
    numbers = shop.ledger.open_visits(visits)
    _judge_capacitors(shop, visits, numbers, believed)
    _judge_charge(shop, visits, numbers, charge)
    pitted = (state.pitting[units] > 0.5) & ((visits["observations"] & 2) > 0)
    fit = pitted & (rng.random(k) < 0.5)
    add_parts(rng, shop.ledger, fleet, numbers[fit], units[fit], days[fit], PART["contactor"], shop.as_of)
    state.pitting[units[fit]] = 0.0
    put_off = pitted & ~fit
    add_advice(
        rng,
        shop.ledger,
        numbers[put_off],
        units[put_off],
        days[put_off],
        PART["contactor"],
        rng.choice([DECLINED, LATER], int(put_off.sum())),
    )
    state.fouling[units] *= 0.25
    state.filter_dirt[units] *= 0.2


def _judge_capacitors(shop: Shop, visits: Visits, numbers: Ints, believed: Floats) -> None:
    rng, fleet = shop.rng, shop.fleet
    units, days = visits["unit"], visits["day"]
    tolerance = fleet.tolerance[units]
    weak = np.nan_to_num(believed, nan=0.0) < -tolerance[:, None] - rng.exponential(1.5, believed.shape)
    any_weak = weak.any(axis=1)
    how_weak = np.clip(-np.nanmin(np.where(weak, believed, 0.0), axis=1) - 6.0, 0.0, 20.0)
    agrees = np.where(fleet.agreement[units], 0.58, 0.4) + 0.012 * how_weak
    agrees = np.where(
        np.nanmin(np.where(weak, believed, 0.0), axis=1) < -60.0, 0.98, agrees
    )  # it would not start again
    draw = rng.random(len(units))
    approved = any_weak & (draw < agrees)
    waiting = approved & (rng.random(len(units)) < 0.08)
    now = approved & ~waiting
    replace_capacitors(shop, visits, numbers, np.flatnonzero(now), weak[now])
    told = any_weak & (rng.random(len(units)) < 0.85)
    refused = np.where(rng.random(len(units)) < 0.55, DECLINED, LATER)
    decision = np.select([waiting, now], [WAITING, APPROVED], default=refused)
    add_advice(rng, shop.ledger, numbers[told], units[told], days[told], PART["run_capacitor"], decision[told])
    shop.come_back(days[waiting] + rng.integers(4, 16, int(waiting.sum())), units[waiting], REPAIR, RUN_CAPACITOR)
    later = any_weak & ~approved & (refused == LATER) & (rng.random(len(units)) < 0.35)
    shop.come_back(days[later] + rng.integers(15, 60, int(later.sum())), units[later], REPAIR, RUN_CAPACITOR)


def _judge_charge(shop: Shop, visits: Visits, numbers: Ints, charge: Floats) -> None:
    rng, fleet, state = shop.rng, shop.fleet, shop.state
    units, days = visits["unit"], visits["day"]
    limit = np.where(fleet.metering[units] == FIXED, -5.5, -5.0)
    low = np.nan_to_num(charge, nan=0.0) < limit
    add = low & (rng.random(len(units)) < 0.62)
    top_up(shop, visits, add)
    add_parts(
        rng,
        shop.ledger,
        fleet,
        numbers[add],
        units[add],
        days[add],
        PART["refrigerant"],
        shop.as_of,
        quantity=visits["refrigerant_added_oz"][add],
    )
    searched = low & (rng.random(len(units)) < 0.5)
    leaks = (state.leak_from[units] < days) & (state.leak_pct_per_year[units] > 0)
    found = np.where(leaks & (rng.random(len(units)) < 0.55), 0, np.where(rng.random(len(units)) < 0.6, 1, 2))
    visits["leak_found"] = np.where(searched, found, visits["leak_found"])
    put_off = low & ~add
    add_advice(
        rng,
        shop.ledger,
        numbers[put_off],
        units[put_off],
        days[put_off],
        CAUSE["refrigerant_leak"],
        rng.choice([DECLINED, LATER], int(put_off.sum())),
    )
    high = (np.nan_to_num(charge, nan=0.0) > 9.0) & (rng.random(len(units)) < 0.3)
    taken = np.where(high, charge * 0.8, 0.0)
    visits["refrigerant_recovered_oz"] = np.where(high, np.round(taken / 100.0 * fleet.charge_oz[units], 0), np.nan)
    state.charge_pct[units[high]] -= taken[high]


def top_up(shop: Shop, visits: Visits, among: Bools) -> None:
    """Weigh refrigerant in on the visits ``among`` until the charge looks right, within a few percent."""
    rng, fleet, state = shop.rng, shop.fleet, shop.state
    units = visits["unit"][among]
    aim = rng.normal(0.0, 2.5, len(units))
    added = np.maximum(np.round((aim - state.charge_pct[units]) / 100.0 * fleet.charge_oz[units]), 2.0)
    visits["refrigerant_added_oz"][among] = added
    state.charge_pct[units] += 100.0 * added / fleet.charge_oz[units]


def replace_capacitors(shop: Shop, visits: Visits, numbers: Ints, at: Ints, bad: Bools) -> None:
    """Fit new sections on the visits at positions ``at``; ``bad`` (len(at), 3) says which sections are to go.

    A dual is replaced by a dual, now and then by two singles, or by one single beside the old dual. Some tickets
    carry no part row, some a part row without a rating, and some give the new part's reading as the one found.
    """
    if len(at) == 0:
        return
    rng, fleet, state = shop.rng, shop.fleet, shop.state
    units, days = visits["unit"][at], visits["day"][at]
    k = len(at)
    outdoor = bad[:, :2].any(axis=1)
    kind = np.where(outdoor, rng.choice(3, k, p=(0.8, 0.09, 0.11)), -1)  # 0 dual, 1 two singles, 2 one single
    sections = np.where((kind >= 0)[:, None] & (kind != 2)[:, None], state.rated[units][:, :2] > 0, bad[:, :2])
    sections = np.concatenate([sections, bad[:, 2:]], axis=1)
    up = (rng.random(k) < 0.02) & sections[:, 0]
    state.rated[units[up], 0] += 5.0
    rows, which = np.nonzero(sections)
    fit_parts(rng, fleet, state, units[rows], which, days[rows])
    make = state.part_make[units, np.argmax(sections, axis=1)]
    state.part_make[units[rows], which] = make[rows]

    after = drift_pct(state, units, days) + rng.normal(0.0, 1.0, (k, 3))
    new = np.round(state.rated[units] * (1.0 + after / 100.0), 1)
    written = sections & (rng.random((k, 1)) < 0.55)
    as_found = written & (rng.random((k, 1)) < 0.08)
    for section, name in enumerate(("herm_uf", "fan_uf", "blower_uf")):
        visits[f"{name}_after"][at] = np.where(written & ~as_found, new, np.nan)[:, section]
        visits[name][at] = np.where(as_found[:, section], new[:, section], visits[name][at])

    recorded = rng.random(k) < 0.96
    named = rng.random(k) < 0.94
    rated = np.where(sections, state.rated[units], np.nan)
    common = {
        "cap_volts": np.where(rng.random(k) < 0.85, 440.0, 370.0),
        "cap_tolerance_pct": np.where(rng.random(k) < 0.5, 6.0, np.nan),
    }

    def rows_for(among: Bools, herm: Bools | bool, fan: Bools | bool, blower: Bools | bool = False) -> None:
        pick = np.flatnonzero(among & recorded)
        columns = {}
        for name, section, on in (("cap_herm_uf", 0, herm), ("cap_fan_uf", 1, fan), ("cap_blower_uf", 2, blower)):
            keep = np.broadcast_to(np.asarray(on), k) & named
            columns[name] = np.where(keep, rated[:, section], np.nan)[pick]
        add_parts(
            rng,
            shop.ledger,
            fleet,
            numbers[at][pick],
            units[pick],
            days[pick],
            PART["run_capacitor"],
            shop.as_of,
            part_make=make[pick],
            **columns,
            **{name: value[pick] for name, value in common.items()},
        )

    rows_for(kind == 0, True, True)
    named = np.full(k, True)
    rows_for((kind == 1) & sections[:, 0], True, False)
    rows_for((kind == 1) & sections[:, 1], False, True)
    rows_for((kind == 2) & sections[:, 0], True, False)
    rows_for((kind == 2) & sections[:, 1], False, True)
    rows_for(sections[:, 2], False, False, True)


def no_cooling_call(shop: Shop, units: Ints, days: Ints, cause: Ints, visit_type: int = NO_COOLING) -> None:
    """Answer calls: find the fault, mend it or order the part, and sometimes come back."""
    if len(units) == 0:
        return
    rng, fleet, state = shop.rng, shop.fleet, shop.state
    k = len(units)
    bad = _failed_sections(rng, state, units, days, cause == RUN_CAPACITOR, visit_type == NO_COOLING)
    visits = blank_visits(units, days, pick_technicians(rng, k), visit_type)
    visits["cause"] = np.where(rng.random(k) < 0.95, cause, -1)
    read_capacitors(rng, fleet, state, visits, (rng.random(k) < 0.8) | bad.any(axis=1))
    runs = np.isin(cause, [CAUSE[w] for w in ("refrigerant_leak", "metering_device", "dirty_coil", "reversing_valve")])
    read_circuit(rng, fleet, state, visits, runs | (rng.random(k) < 0.45), shop.outdoor)
    numbers = shop.ledger.open_visits(visits)
    state.failures[units] += visit_type == NO_COOLING

    rare = np.isin(
        cause,
        [CAUSE[w] for w in ("control_board", "blower_motor", "condenser_fan_motor", "compressor", "reversing_valve")],
    )
    waits = (rng.random(k) < np.where(rare, 0.3, np.where(cause == RUN_CAPACITOR, 0.03, 0.0))) & (
        visit_type == NO_COOLING
    )
    add_advice(rng, shop.ledger, numbers[waits], units[waits], days[waits], cause[waits], WAITING)
    shop.come_back(days[waits] + rng.integers(2, 12, int(waits.sum())), units[waits], REPAIR, cause[waits])
    mend = ~waits
    capacitor = np.flatnonzero(mend & bad.any(axis=1))
    replace_capacitors(shop, visits, numbers, capacitor, bad[capacitor])
    _mend(shop, visits, numbers, mend & (cause != RUN_CAPACITOR), cause)
    again = mend & (rng.random(k) < 0.07) & (visit_type == NO_COOLING)
    same_call = again & (rng.random(k) < 0.3)
    shop.come_back(
        days[again & ~same_call] + rng.integers(1, 13, int((again & ~same_call).sum())),
        units[again & ~same_call],
        CALLBACK,
        cause[again & ~same_call],
    )
    shop.come_back(
        days[same_call] + rng.integers(1, 9, int(same_call.sum())), units[same_call], NO_COOLING, cause[same_call]
    )


def _failed_sections(
    rng: np.random.Generator, state: Condition, units: Ints, days: Ints, among: Bools, suddenly: bool
) -> Bools:
    """Return which sections are bad (k, 3); those that failed ``suddenly`` drop: open, or a good deal lower."""
    drift = np.where(state.rated[units] > 0, drift_pct(state, units, days), np.inf)
    worst = np.argmin(drift + np.array([0.0, 7.0, 12.0]), axis=1)
    bad = (np.arange(3) == worst[:, None]) | (drift < -25.0)
    bad &= among[:, None] & (state.rated[units] > 0)
    rows, sections = np.nonzero(bad)
    if not suddenly:
        return bad
    opens = rng.random(len(rows)) < 0.35
    state.opened[units[rows[opens]], sections[opens]] = True
    state.extra[units[rows[~opens]], sections[~opens]] -= np.abs(rng.normal(0.0, 8.0, int((~opens).sum())))
    return bad


def _mend(shop: Shop, visits: Visits, numbers: Ints, among: Bools, cause: Ints) -> None:
    """Fit the part the cause asks for and undo the fault."""
    rng, fleet, state, ledger = shop.rng, shop.fleet, shop.state, shop.ledger
    units, days = visits["unit"], visits["day"]

    def which(word: str, share: float = 1.0) -> Bools:
        return among & (cause == CAUSE[word]) & (rng.random(len(units)) < share)

    def part(rows: Bools, word: str, quantity: Floats | None = None) -> None:
        add_parts(rng, ledger, fleet, numbers[rows], units[rows], days[rows], PART[word], shop.as_of, quantity=quantity)

    for word, share in (
        ("contactor", 1.0),
        ("condenser_fan_motor", 1.0),
        ("metering_device", 0.9),
        ("reversing_valve", 1.0),
        ("control_board", 0.95),
        ("thermostat", 0.8),
        ("transformer", 1.0),
        ("condensate_drain", 0.2),
        ("blower_motor", 1.0),
        ("wiring", 0.4),
    ):
        part(which(word, share), word)
    state.pitting[units[which("contactor")]] = 0.0
    motor = np.flatnonzero(which("condenser_fan_motor", 0.5) & (state.rated[units, 1] > 0))
    replace_capacitors(shop, visits, numbers, motor, np.tile([False, True, False], (len(motor), 1)))
    coil = which("dirty_coil")
    visits["observations"] |= np.where(coil & (rng.random(len(units)) < 0.5), ICED, 0)
    state.fouling[units[coil]] = 0.05
    state.filter_dirt[units[coil]] = 0.0

    leak = which("refrigerant_leak")
    top_up(shop, visits, leak)
    part(leak, "refrigerant", visits["refrigerant_added_oz"][leak])
    visits["leak_found"] = np.where(leak, rng.choice([0, 2, 1], len(units), p=(0.55, 0.3, 0.15)), visits["leak_found"])
    mended = leak & (visits["leak_found"] == 0) & (rng.random(len(units)) < 0.6)
    for word, share in (("evaporator_coil", 0.5), ("line_set", 0.15), ("condenser_coil", 0.15)):
        part(mended & (rng.random(len(units)) < share), word)
    state.leak_pct_per_year[units[mended]] = 0.0
    unmended = leak & ~mended
    add_advice(
        rng,
        ledger,
        numbers[unmended],
        units[unmended],
        days[unmended],
        PART["evaporator_coil"],
        rng.choice([DECLINED, LATER], int(unmended.sum())),
    )

    dead = which("compressor")
    gives_up = dead & ((days - fleet.installed[units]) > 9 * 365) & (rng.random(len(units)) < 0.65)
    fleet.exit[units[gives_up]] = days[gives_up] + rng.integers(3, 20, int(gives_up.sum()))
    fleet.exit_reason[units[gives_up]] = "compressor failed"
    add_advice(rng, ledger, numbers[gives_up], units[gives_up], days[gives_up], PART["compressor"], DECLINED)
    new = dead & ~gives_up & (fleet.exit[units] == NEVER)
    part(new, "compressor")
    part(new, "filter_drier")
    visits["refrigerant_recovered_oz"][new] = np.round(fleet.charge_oz[units[new]] * 0.9)
    visits["refrigerant_added_oz"][new] = np.round(fleet.charge_oz[units[new]] * rng.normal(1.0, 0.02, int(new.sum())))
    state.wear[units[new]] = -0.02
    state.charge_pct[units[new]] = rng.normal(0.0, 2.0, int(new.sum()))
