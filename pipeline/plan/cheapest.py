"""The cheapest set of capacitors that serves every need with the promised probability, stand-ins included."""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pipeline.plan.cases import Cases, Counts, Ints, Problem, Way
from pipeline.plan.counts import Floats

MOST_STATES = 200
"""Sets tried before the proof of the cheapest is given up for a greedy search (time, engineering choice)."""
MOST_LAST = 5
"""Cans, dearest first, that are tried without at the very end, every way of serving counted (time)."""
MOST_PROVEN = 150
"""Combinations up to which the cheapest set is proven."""
MOST_EXPECTED = 9.0
"""Needs expected together beyond which the search begins with each size by itself (time, engineering choice)."""
SHARES = (1.0, 0.5, 0.3, 0.2, 0.12, 0.07, 0.04, 0.02, 0.01, 0.005, 0.002)
"""Chances of running out of one size, from none of it in stock to all of the promise resting on it."""


@dataclass(frozen=True)
class Cheapest:
    """Counts by kind, those there already included; the probability that all needs are served; whether proven."""

    counts: Counts
    covers: float
    exact: bool


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
    cases = Cases(p)
    proven = _by_cost(cases, level, most_states) if len(cases.masses) <= MOST_PROVEN else None
    counts = proven if proven is not None else _without_surplus(cases, _pooled(cases, level), level)
    return Cheapest(counts, cases.covers(counts), proven is not None)


def without_spare(p: Problem, found: Cheapest, level: float) -> Cheapest:
    """Return the set less what lies there and is not needed to serve with probability ``level``.

    The cheapest goes first: a single that might stand in is spared before the size itself is.
    """
    p = _servable_only(p)
    if not any(p.have):
        return found
    cases, counts = Cases(p), found.counts
    for kind in sorted(range(len(counts)), key=lambda k: (p.prices[k], k)):
        for _ in range(min(counts[kind], p.have[kind])):
            fewer = _plus(counts, ((kind, -1),))
            if cases.covers_plainly(fewer) < level:
                break
            counts = fewer
    return found if counts == found.counts else replace(found, counts=counts, covers=cases.covers(counts))


def _servable_only(p: Problem) -> Problem:
    kept = [k for k, ways in enumerate(p.ways) if ways]
    return replace(
        p,
        needs=tuple(p.needs[k] for k in kept),
        odds=tuple(p.odds[k] for k in kept),
        ways=tuple(p.ways[k] for k in kept),
    )


def _by_cost(cases: Cases, level: float, most_states: int) -> Counts | None:
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
    cases = Cases(p)
    for kind in sorted(range(len(counts)), key=lambda k: (-p.prices[k], k)):
        while counts[kind] > p.have[kind] and cases.covers_plainly(less := _plus(counts, ((kind, -1),))) >= level:
            counts = less
    return Cheapest(counts, cases.covers_plainly(counts), False)


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


def _pooled(cases: Cases, level: float) -> Counts:
    """Return the best set of this form: some cans of each size, and singles that all sizes share for the rest.

    Every need not met from what is there goes to its own size first; what is over takes two singles. For each of
    ``SHARES`` the sizes are stocked up to that chance of running out, then the singles as far as the level asks.
    """
    p = cases.p
    rest = cases.unmet(p.have)
    wanted: dict[int, Ints] = {}
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


def _shared(cases: Cases, wanted: Mapping[int, Ints], pairs: Mapping[int, Way], share: float, level: float) -> Counts:
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


def _without_surplus(cases: Cases, counts: Counts, level: float) -> Counts:
    """Put two singles together to the dual that is cheaper, then leave out what is not needed, dearest first.

    Held against plain serving, and at the end for a few cans against every way of serving, which takes its time.
    """
    p = cases.p
    for ways in p.ways:
        own = next((way[0][0] for way in ways if len(way) == 1), None)
        for pair in ways:
            if own is None or len(pair) != 2 or p.prices[own] >= sum(p.prices[k] for k, _ in pair):
                continue
            while all(counts[kind] > p.have[kind] for kind, _ in pair):
                trial = _plus(counts, ((own, 1), *((kind, -1) for kind, _ in pair)))
                if cases.covers_plainly(trial) < level:
                    break
                counts = trial
    dearest = sorted(range(len(counts)), key=lambda k: (-p.prices[k], k))
    for kind in dearest:
        while counts[kind] > p.have[kind] and cases.covers_plainly(_plus(counts, ((kind, -1),))) >= level:
            counts = _plus(counts, ((kind, -1),))
    for kind in [k for k in dearest if counts[k] > p.have[k]][:MOST_LAST]:
        if cases.covers(_plus(counts, ((kind, -1),))) >= level:
            counts = _plus(counts, ((kind, -1),))
    return counts
