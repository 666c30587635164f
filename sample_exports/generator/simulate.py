"""The shop through the years: half a month at a time, all units at once."""

from __future__ import annotations

import copy
import datetime as dt

import numpy as np
import polars as pl

from sample_exports.generator import frames, town
from sample_exports.generator.ageing import (
    DriftLaw,
    FailureLaw,
    advance,
    drift_pct,
    first_condition,
    fit_parts,
    hazards,
    open_suddenly,
)
from sample_exports.generator.almanac import date_of, day, season_weight, season_year, steps, weather
from sample_exports.generator.fleet import Fleet, Floats, Ints, make_fleet
from sample_exports.generator.visits import Ledger
from sample_exports.generator.words import INSPECTION, INSTALL, MAINTENANCE
from sample_exports.generator.work import Shop, no_cooling_call, tune_up

AS_OF = dt.date(2026, 3, 14)
SEED = 20260314


def simulate(
    n_units: int = 420,
    seasons: int = 6,
    seed: int = SEED,
    *,
    as_of: dt.date = AS_OF,
    drift_law: DriftLaw = "mixed",
    failure_law: FailureLaw = "additive",
) -> dict[str, pl.DataFrame]:
    """Return the clean tables of a simulated shop, and the truth behind them.

    Parameters
    ----------
    n_units : int
        Units ever looked after, retired ones included.
    seasons : int
        Finished cooling seasons before ``as_of``.
    seed : int
        The same seed gives the same frames.
    as_of : datetime.date
        Day of the newest visit at the latest.
    drift_law, failure_law : str
        Path shapes of the capacitors and shape of the hazards.

    Returns
    -------
    dict of DataFrame
        ``visits``, ``units``, ``sites``, ``parts``, ``recommendations`` in canonical field names and units, no mess
        (long-form ``readings`` are cut from ``visits`` by the writer), and the truth:
        ``truth_visits`` (superheat, subcooling [degF] and charge deviation [% of nominal] behind the readings),
        ``truth_sections`` (unit, section, cutoff: drift [%] then, and at season start and end if nothing is done),
        ``truth_units`` (unit, cutoff: p_failure from the cutoff to the season's end if nothing is done; ``failed`` =
        what came, with the shop's own work in past seasons and without it in the coming one).
    """
    first, last = day(dt.date(as_of.year - seasons, 1, 1)), day(as_of)
    season_end = day(dt.date(season_year(last), 10, 1))
    streams = [np.random.default_rng([seed, number]) for number in range(4)]
    outdoor = np.zeros(season_end + 40)
    outdoor[first:] = weather(streams[0], first, season_end + 39)
    fleet = make_fleet(streams[1], n_units, first, last)
    state = first_condition(streams[2], fleet, drift_law)
    shop = Shop(streams[2], fleet, state, Ledger(), outdoor, last)
    plans = _plan_visits(streams[2], fleet, first, last)
    truth: list[tuple[Ints, Floats, Floats, Floats, Floats]] = []

    for start, end in steps(first, last + 1):
        if start >= first + 90 and date_of(start).strftime("%m-%d") == "05-01":
            truth.append(_look_ahead(seed, shop, start - 1, failure_law))
        weight = season_weight(start, end, outdoor, 0)
        advance(shop.rng, fleet, state, start, end, weight)
        open_suddenly(shop.rng, state, weight)
        _replace_retired(shop, start)
        _welcome(shop, start, end, failure_law)
        _returns(shop, end)
        for plan in plans:
            due = np.flatnonzero((plan >= start) & (plan < end) & (fleet.entry + 100 < plan) & (fleet.exit > plan))
            tune_up(shop, due, plan[due])
        if weight > 0.001:
            _calls(shop, start, end, weight, failure_law)
    truth.append(_look_ahead(seed, shop, last, failure_law))
    place = town.sites(np.random.default_rng([seed, 9]), fleet, last)
    return frames.tables(np.random.default_rng([seed, 10]), fleet, shop.ledger, place, truth, last)


def _plan_visits(rng: np.random.Generator, fleet: Fleet, first: int, last: int) -> list[Ints]:
    """Return planned tune-up days, one array per year and kind; units of one site share the day."""
    top = int(fleet.site.max()) + 1
    keen = rng.beta(1.5, 1.1, top)
    agreement = np.zeros(top, dtype=bool)
    agreement[fleet.site[fleet.agreement]] = True
    fleet.agreement[:] = agreement[fleet.site]
    plans = []
    for year in range(date_of(first).year, date_of(last).year + 1):
        spring = day(dt.date(year, 2, 20)) + (rng.beta(1.7, 2.1, top) * 112).astype(int)
        goes = rng.random(top) < np.where(agreement, 0.92, 0.95 * keen)
        autumn = day(dt.date(year, 10, 5)) + rng.integers(0, 50, top)
        heats = agreement & (rng.random(top) < 0.7)
        for planned, on in ((spring, goes), (autumn, heats)):
            planned = planned + ((planned + 3) % 7 == 6)
            plans.append(np.where(on, planned, -1)[fleet.site])
        plans[-1] = np.where(fleet.heat_pump, plans[-1], -1)
    return plans


def _alive(fleet: Fleet, start: int, end: int) -> Ints:
    return np.flatnonzero((fleet.entry < start) & (fleet.exit > end))


def _calls(shop: Shop, start: int, end: int, weight: float, law: FailureLaw) -> None:
    rate = hazards(shop.fleet, shop.state, start, law) * weight
    alive = _alive(shop.fleet, start, end)
    fails = alive[shop.rng.random(len(alive)) < -np.expm1(-rate[alive].sum(axis=1))]
    no_cooling_call(shop, fails, shop.rng.integers(start, end, len(fails)), _draw_cause(shop.rng, rate[fails]))


def _draw_cause(rng: np.random.Generator, rate: Floats) -> Ints:
    share = np.cumsum(rate, axis=1)
    return np.argmax(share > (rng.random(len(rate)) * share[:, -1])[:, None], axis=1)


def _welcome(shop: Shop, start: int, end: int, law: FailureLaw) -> None:
    """Make the first visit to each unit that comes in: installed, inspected, tuned up, or called out for no cooling."""
    fleet, rng = shop.fleet, shop.rng
    new = np.flatnonzero((fleet.entry >= start) & (fleet.entry < end))
    installed = fleet.entry_kind[new] == 1
    tune_up(shop, new[installed], fleet.entry[new[installed]], INSTALL)
    others = new[~installed]
    calls = (rng.random(len(others)) < 0.16) & np.isin(_month(fleet.entry[others]), (5, 6, 7, 8, 9))
    rate = hazards(fleet, shop.state, start, law)[others[calls]]
    no_cooling_call(shop, others[calls], fleet.entry[others[calls]], _draw_cause(rng, rate))
    quiet = others[~calls]
    kind = np.where((fleet.entry_kind[quiet] == 3) & (rng.random(len(quiet)) < 0.6), INSPECTION, MAINTENANCE)
    tune_up(shop, quiet, fleet.entry[quiet], kind)


def _month(days: Ints) -> Ints:
    return days.astype("datetime64[D]").astype("datetime64[M]").astype(int) % 12 + 1


def _returns(shop: Shop, end: int) -> None:
    """Make the visits that earlier ones called for."""
    days, units, kinds, causes = shop.take_due(end)
    here = (shop.fleet.exit[units] > days) & (days <= shop.as_of)
    for kind in np.unique(kinds):
        rows = here & (kinds == kind)
        no_cooling_call(shop, units[rows], days[rows], causes[rows], int(kind))


def _replace_retired(shop: Shop, start: int) -> None:
    """Put a waiting unit in the place of each one just retired for good, as long as there are any waiting."""
    fleet, state = shop.fleet, shop.state
    gone = np.flatnonzero((fleet.exit < start) & (fleet.exit >= start - 16))
    gone = gone[np.isin(fleet.exit_reason[gone].astype(str), ("compressor failed", "owner replaced it"))]
    gone = gone[~np.isin(gone, fleet.successor_of)]
    waiting = np.flatnonzero(
        (np.arange(len(fleet)) >= len(fleet) - int(len(fleet) * 0.03))
        & (fleet.successor_of < 0)
        & (fleet.entry > start)
    )
    pairs = min(len(gone), len(waiting))
    old, new = gone[:pairs], waiting[:pairs]
    fleet.successor_of[new] = old
    fleet.site[new] = fleet.site[old]
    fleet.agreement[new] = fleet.agreement[old]
    fleet.entry[new] = fleet.installed[new] = start + 1
    rows, sections = np.nonzero(state.rated[new] > 0)
    fit_parts(shop.rng, fleet, state, new[rows], sections, fleet.installed[new[rows]])
    state.leak_from[new] = start + 1 + shop.rng.integers(200, 4000, pairs)


def _look_ahead(seed: int, shop: Shop, cutoff: int, law: FailureLaw) -> tuple[Ints, Floats, Floats, Floats, Floats]:
    """Return the truth at ``cutoff``: units, p_failure if nothing is done, drift now, at season start and end."""
    rng = np.random.default_rng([seed, 77, cutoff])
    fleet, state = shop.fleet, copy.deepcopy(shop.state)
    year = season_year(cutoff)
    season_start, season_end = day(dt.date(year, 5, 1)), day(dt.date(year, 10, 1))
    now = drift_pct(state, slice(None), cutoff)
    at_start = now
    total = np.zeros(len(fleet))
    for start, end in steps(cutoff + 1, season_end):
        if start == season_start:
            at_start = drift_pct(state, slice(None), start)
        weight = season_weight(start, end, shop.outdoor, 0)
        advance(rng, fleet, state, start, end, weight)
        total += hazards(fleet, state, start, law).sum(axis=1) * weight
    at_end = drift_pct(state, slice(None), season_end - 1)
    units = np.flatnonzero((fleet.entry <= cutoff) & (fleet.exit > cutoff))
    return (
        np.full(len(units), cutoff),
        units,
        -np.expm1(-total[units]),
        np.stack([now, at_start, at_end], axis=2)[units],
        rng.random(len(units)),
    )  # type: ignore[return-value]
