"""The cheapest set of capacitors that serves every need with the promised probability, stand-ins included."""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pipeline.plan.counts import Floats
from pipeline.plan.substitution import Capacitor, Need, substitute

Counts = tuple[int, ...]
Ints = npt.NDArray[np.int64]
Way = tuple[tuple[int, int], ...]
"""One service as (place of the kind, how many)."""

LEAST_MASS = 1e-8
MISSED_MASS = 2e-4
MOST_SCENARIOS = 4_000
SAMPLES = 6_000
"""Draws where the combinations are too many to list; one standard error at 95 % is 0.28 points."""
MOST_WAYS = 12
"""Ways of serving a need that are counted on, plainest first; the others only ever help."""
MOST_STATES = 200
"""Sets tried before the proof of the cheapest is given up for a greedy search (time, engineering choice)."""
MOST_STEPS = 400
"""Steps of a matching before a combination counts as not served; only ever lowers the promise."""
MOST_PROVEN = 150
"""Combinations up to which the cheapest set is proven."""
MOST_EXPECTED = 9.0
"""Needs expected together beyond which the search begins with each size by itself (time, engineering choice)."""
MOST_MATCHED = 150
"""Combinations, heaviest first, that every way of serving is tried on; the others only lower the promise."""
SHARES = (1.0, 0.5, 0.3, 0.2, 0.12, 0.07, 0.04, 0.02, 0.01, 0.005, 0.002)
"""Chances of running out of one size, from none of it in stock to all of the promise resting on it."""
SEED = 20_251


@dataclass(frozen=True)
class Problem:
    """Needs with the odds of their counts, kinds that may be had, what each costs and how many are there already.

    ``ways[k]`` are the services of need k.
    """

    needs: tuple[Need, ...]
    odds: tuple[Floats, ...]
    kinds: tuple[Capacitor, ...]
    prices: tuple[float, ...]
    have: Counts
    ways: tuple[tuple[Way, ...], ...]


@dataclass(frozen=True)
class Cheapest:
    """Counts by kind, those there already included; the probability that all needs are served; whether proven."""

    counts: Counts
    covers: float
    exact: bool


def problem(
    odds: Mapping[Need, Floats],
    prices: Mapping[Capacitor, float],
    have: Mapping[Capacitor, int],
    *,
    stop_gaps: bool = False,
) -> Problem:
    """Return the problem with every service worked out.

    Parameters
    ----------
    odds
        Distribution of the count of each need.
    prices
        Kinds that may be bought and their price.
    have
        Kinds on hand and how many; one without a price is used up but not bought.
    stop_gaps
        Count on sections in parallel too; a promise is better made without them.
    """
    # the highest voltage first: it has the fewest kinds to choose from
    needs = tuple(sorted((n for n, p in odds.items() if len(p) > 1), key=lambda n: (-n.can.volts, n)))
    kinds = tuple(sorted(set(prices) | {can for can, n in have.items() if n > 0}))
    place = {can: n for n, can in enumerate(kinds)}
    ways = tuple(
        tuple(
            tuple((place[can], count) for can, count in way.cans)
            for way in substitute(need, kinds, stop_gaps=stop_gaps)[:MOST_WAYS]
        )
        for need in needs
    )
    return Problem(
        needs,
        tuple(odds[need] for need in needs),
        kinds,
        tuple(prices.get(can, math.inf) for can in kinds),
        tuple(max(0, have.get(can, 0)) for can in kinds),
        ways,
    )


def cheapest(p: Problem, level: float, most_states: int = MOST_STATES) -> Cheapest:
    """Return the cheapest purchase that serves all needs together with probability ``level``.

    Notes
    -----
    Sets are tried in order of what they add to the cost, so the first that is enough is the cheapest; beyond
    ``most_states`` of them a search over how much is left to shared singles is taken, and ``exact`` is false. A need
    that nothing serves is left out of the promise.
    """
    p = _servable_only(p)
    if sum(float((np.arange(len(law)) * law).sum()) for law in p.odds) > MOST_EXPECTED:
        return _trimmed(p, _own_sizes(p, level), level)
    cases = _Cases(p)
    proven = _by_cost(cases, level, most_states) if len(cases.masses) <= MOST_PROVEN else None
    counts = proven if proven is not None else _without_surplus(cases, _pooled(cases, level), level)
    return Cheapest(counts, cases.covers(counts), proven is not None)


def coverage(p: Problem, counts: Counts) -> float:
    """Return the probability that all needs together are served from ``counts``."""
    return _Cases(p).covers(counts)


def _servable_only(p: Problem) -> Problem:
    kept = [k for k, ways in enumerate(p.ways) if ways]
    return replace(
        p,
        needs=tuple(p.needs[k] for k in kept),
        odds=tuple(p.odds[k] for k in kept),
        ways=tuple(p.ways[k] for k in kept),
    )


def scenarios(odds: Sequence[Floats]) -> tuple[Ints, Floats]:
    """Return the combinations of counts that matter (one row each) and their probability, heaviest first.

    All of them but a mass of 2e-4 where they can be listed, else drawn with a fixed seed.
    """
    cases, masses = np.zeros((1, 0), dtype=np.int64), np.ones(1)
    for law in odds:
        wide = masses[:, None] * law[None, :]
        rows, counts = np.nonzero(wide >= LEAST_MASS)
        cases = np.column_stack([cases[rows], counts])
        masses = wide[rows, counts]
        if len(masses) > MOST_SCENARIOS:
            return _drawn(odds)
    if 1.0 - masses.sum() > MISSED_MASS:
        return _drawn(odds)
    order = np.argsort(-masses, kind="stable")
    return cases[order], masses[order]


def _drawn(odds: Sequence[Floats]) -> tuple[Ints, Floats]:
    random = np.random.default_rng(SEED)
    draws = np.stack([np.searchsorted(np.cumsum(law), random.random(SAMPLES)) for law in odds], axis=1)
    draws = np.minimum(draws, [len(law) - 1 for law in odds])
    cases, counted = np.unique(draws, axis=0, return_counts=True)
    order = np.argsort(-counted, kind="stable")
    return cases[order].astype(np.int64), counted[order] / SAMPLES


class _Cases:
    """The combinations of one problem, and what was found out about sets so far."""

    def __init__(self, p: Problem) -> None:
        self.p = p
        self.cases, self.masses = scenarios(p.odds)
        self._covers: dict[Counts, float] = {}

    def covers(self, counts: Counts) -> float:
        """Return the mass that a set serves: plainly where that goes, else by trying every way."""
        if counts not in self._covers:
            met = self.plainly(counts)
            for row in np.flatnonzero(~met)[:MOST_MATCHED]:
                met[row] = servable(self.p.ways, tuple(self.cases[row].tolist()), counts)
            self._covers[counts] = float(self.masses[met].sum())
        return self._covers[counts]

    def plainly(self, counts: Counts) -> npt.NDArray[np.bool_]:
        """Return which combinations are served when each need in turn takes its plainest way that is left."""
        return np.asarray(~self.unmet(counts).any(axis=1))

    def unmet(self, counts: Counts) -> Ints:
        """Return how many of each need are left over in each combination, served in that way."""
        left = np.repeat(np.array(counts, dtype=np.int64)[:, None], len(self.cases), axis=1)
        rest = self.cases.copy()
        for need, ways in enumerate(self.p.ways):
            for way in ways:
                if any(counts[kind] < count for kind, count in way):
                    continue
                take = rest[:, need].copy()
                for kind, count in way:
                    take = np.minimum(take, left[kind] // count)
                for kind, count in way:
                    left[kind] -= take * count
                rest[:, need] -= take
        return rest


def servable(ways: Sequence[Sequence[Way]], case: Counts, counts: Counts) -> bool:
    """Return whether every need of the combination ``case`` can be served at once from ``counts``."""
    wanted = sorted((k for k, n in enumerate(case) for _ in range(n)), key=lambda k: (len(ways[k]), k))
    return _place(ways, wanted, 0, 0, list(counts), [MOST_STEPS])


def _place(
    ways: Sequence[Sequence[Way]], wanted: Sequence[int], at: int, first: int, left: list[int], steps: list[int]
) -> bool:
    if at == len(wanted):
        return True
    need = wanted[at]
    again = at + 1 < len(wanted) and wanted[at + 1] == need
    for number, way in enumerate(ways[need][first:], start=first):
        steps[0] -= 1
        if steps[0] < 0:
            return False
        if all(left[kind] >= count for kind, count in way):
            for kind, count in way:
                left[kind] -= count
            # the next of the same need takes this way or a later one: order among equals does not matter
            if _place(ways, wanted, at + 1, number if again else 0, left, steps):
                return True
            for kind, count in way:
                left[kind] += count
    return False


def _by_cost(cases: _Cases, level: float, most_states: int) -> Counts | None:
    p = cases.p
    buyable = sorted(k for k in _useful(p) if math.isfinite(p.prices[k]))
    waiting: list[tuple[float, Counts, int]] = [(0.0, p.have, 0)]
    for _ in range(most_states):
        if not waiting:
            return None
        cost, counts, since = heapq.heappop(waiting)
        if cases.covers(counts) >= level:
            return counts
        # each set is reached once: kinds are added in order
        for place in range(since, len(buyable)):
            kind = buyable[place]
            more = _plus(counts, ((kind, 1),))
            heapq.heappush(waiting, (round(cost + p.prices[kind], 6), more, place))
    return None


def _useful(p: Problem) -> set[int]:
    return {kind for ways in p.ways for way in ways for kind, _ in way}


def _trimmed(p: Problem, counts: Counts, level: float) -> Cheapest:
    """Return the counts less what stand-ins make up for, dearest first, each need taking its plainest way left."""
    cases = _Cases(p)

    def covers(tried: Counts) -> float:
        return float(cases.masses[cases.plainly(tried)].sum())

    for kind in sorted(range(len(counts)), key=lambda k: (-p.prices[k], k)):
        while counts[kind] > p.have[kind] and covers(less := _plus(counts, ((kind, -1),))) >= level:
            counts = less
    return Cheapest(counts, covers(counts), False)


def _own_sizes(p: Problem, level: float) -> Counts:
    """Return the cheapest counts that serve every need from its own size, what lies there used first.

    The can that adds most to the logarithm of the probability for its price comes next, which is optimal up to the last
    step for laws without gaps (marginal analysis); then what is not needed goes again, dearest first.
    """
    laws: dict[int, Floats] = {}
    for ways, law in zip(p.ways, p.odds, strict=True):
        single = [way[0][0] for way in ways if len(way) == 1 and way[0][1] == 1]
        lying = [k for k in single if p.have[k] and not math.isfinite(p.prices[k])]
        bought = [k for k in single if math.isfinite(p.prices[k])]
        own = (bought or lying or [ways[0][0][0]])[0]
        laws[own] = np.convolve(laws.get(own, np.ones(1)), law)
    counts = list(p.have)
    # a kind that is not bought any more serves as far as it goes, for the first size that it fits
    enough = {kind: np.minimum(np.cumsum(law), 1.0) for kind, law in laws.items()}

    def chance(kind: int, count: int) -> float:
        return float(enough[kind][min(count, len(enough[kind]) - 1)])

    def covers() -> float:
        return math.prod(chance(kind, counts[kind]) for kind in laws)

    def gain(kind: int) -> float:
        before, after = chance(kind, counts[kind]), chance(kind, counts[kind] + 1)
        return (math.log(after) - math.log(max(before, 1e-300))) / p.prices[kind]

    buyable = sorted(kind for kind in laws if math.isfinite(p.prices[kind]))
    while covers() < level:
        best = max(buyable, key=gain, default=None)
        if best is None or gain(best) <= 0:
            break
        counts[best] += 1
    for kind in sorted(buyable, key=lambda k: (-p.prices[k], k)):
        while counts[kind] > p.have[kind]:
            counts[kind] -= 1
            if covers() < level:
                counts[kind] += 1
                break
    return tuple(counts)


def _pooled(cases: _Cases, level: float) -> Counts:
    """Return the best set of this form: some cans of each size, and singles that all sizes share for the rest.

    Every need not met from what is there goes to its own size first; what is over takes two singles. For each of
    ``SHARES`` the sizes are stocked up to that chance of running out, then the singles as far as the level asks.
    """
    p = cases.p
    rest = cases.unmet(p.have)
    wanted: dict[int, npt.NDArray[np.int64]] = {}
    pairs: dict[int, Way] = {}
    for need, ways in enumerate(p.ways):
        bought = [way for way in ways if all(math.isfinite(p.prices[k]) for k, _ in way)]
        if bought:
            own = bought[0][0][0] if len(bought[0]) == 1 else -1 - need
            wanted[own] = wanted.get(own, 0) + rest[:, need]
            split = [way for way in bought if sum(n for _, n in way) > 1]
            if own < 0 or split:
                pairs.setdefault(own, bought[0] if own < 0 else split[0])
    best: tuple[float, Counts] | None = None
    for share in SHARES:
        counts = _shared(cases, wanted, pairs, share, level)
        cost = sum(p.prices[k] * (n - p.have[k]) for k, n in enumerate(counts) if n > p.have[k])
        if best is None or cost < best[0]:
            best = (cost, counts)
    assert best is not None
    return best[1]


def _shared(
    cases: _Cases, wanted: Mapping[int, npt.NDArray[np.int64]], pairs: Mapping[int, Way], share: float, level: float
) -> Counts:
    p = cases.p
    counts = np.array(p.have, dtype=np.int64)
    used = np.zeros((len(cases.masses), len(p.kinds)), dtype=np.int64)
    for own, asked in wanted.items():
        odds = np.bincount(asked, weights=cases.masses)
        chance = share if own in pairs else min(share, (1 - level) / (2 * len(wanted)))
        kept = 0 if own < 0 else int(np.searchsorted(np.cumsum(odds), odds.sum() - chance - 1e-12))
        if own >= 0:
            counts[own] += kept
        over = np.maximum(asked - kept, 0)
        if own in pairs:
            for kind, n in pairs[own]:
                used[:, kind] += over * n
        else:
            used[:, own] += over
    singles = used.max(axis=0)
    met = np.ones(len(cases.masses), dtype=bool)
    while singles.any():
        lost = [float(cases.masses[met & (used[:, k] == n)].sum()) if n else math.inf for k, n in enumerate(singles)]
        held = float(cases.masses[met].sum())
        free = [k for k, mass in enumerate(lost) if held - mass >= level]
        if not free:
            break
        kind = max(free, key=lambda k: (p.prices[k] / (lost[k] + 1e-12), -k))
        met &= used[:, kind] < singles[kind]
        singles[kind] -= 1
    return tuple(int(n) for n in counts + singles)


def _plus(counts: Counts, add: Way) -> Counts:
    more = list(counts)
    for kind, count in add:
        more[kind] += count
    return tuple(more)


def _without_surplus(cases: _Cases, counts: Counts, level: float) -> Counts:
    """Put two singles together to the dual that is cheaper, then leave out what is not needed, dearest first."""
    p = cases.p
    for ways in p.ways:
        own = next((way[0][0] for way in ways if len(way) == 1), None)
        for pair in ways:
            if own is None or len(pair) != 2 or p.prices[own] >= sum(p.prices[k] for k, _ in pair):
                continue
            while all(counts[kind] > p.have[kind] for kind, _ in pair):
                trial = _plus(counts, ((own, 1), *((kind, -1) for kind, _ in pair)))
                if cases.covers(trial) < level:
                    break
                counts = trial
    for kind in sorted(range(len(counts)), key=lambda k: (-p.prices[k], k)):
        while counts[kind] > p.have[kind] and cases.covers(_plus(counts, ((kind, -1),))) >= level:
            counts = _plus(counts, ((kind, -1),))
    return counts
