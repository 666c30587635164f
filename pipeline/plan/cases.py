"""The combinations of needs that may come, and which of them a set of capacitors serves."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

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
MOST_STEPS = 400
"""Steps of a matching before a combination counts as not served; only ever lowers the promise."""
MOST_MATCHED = 150
"""Combinations, heaviest first, that every way of serving is tried on; the others only lower the promise."""
SEED = 20_251
"""Of the draws, so that the same stock gives the same list."""


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


class Cases:
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

    def covers_plainly(self, counts: Counts) -> float:
        """Return the mass that plain serving serves: no more than ``covers``."""
        return float(self.masses[self.plainly(counts)].sum())

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
