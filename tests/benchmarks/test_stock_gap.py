"""How much dearer than the cheapest the quick ways to a stock list are: against proof and against a slower search."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pipeline.plan import cheapest as module
from pipeline.plan.cases import Cases, Counts, Problem, problem
from pipeline.plan.cheapest import cheapest
from pipeline.plan.counts import count_odds
from pipeline.plan.substitution import Capacitor, Need

pytestmark = pytest.mark.benchmark
LEVEL = 0.95
HERMETIC, FAN = (30.0, 35.0, 40.0, 45.0, 50.0, 60.0), (4.0, 5.0, 7.5, 10.0)


def a_list(seed: int, sizes: int, expected: float) -> Problem:
    """Return a random list: ``sizes`` labels of duals and singles, as many needs in all as ``expected``."""
    random = np.random.default_rng(seed)
    labels = [Capacitor(h, f, v) for h in HERMETIC for f in FAN for v in (370.0, 440.0)]
    labels += [Capacitor(f, 0.0, 370.0) for f in (5.0, 7.5, 10.0, 15.0)]
    picked = [labels[i] for i in random.choice(len(labels), sizes, replace=False)]
    share = random.dirichlet(np.ones(sizes)) * expected
    odds = {}
    for can, mean in zip(picked, share, strict=True):
        units = int(np.ceil(mean * random.uniform(2, 8))) + 1
        odds[Need(can)] = count_odds(np.minimum(0.95, np.full(units, mean / units)))
    sold = {Capacitor(c.first_uf, c.second_uf, 440.0) for c in picked}
    sold |= {Capacitor(uf, 0.0, 440.0) for c in picked for uf in c.sections}
    base = {True: 12.0, False: 8.0}
    prices = {c: base[bool(c.second_uf)] + 0.12 * (c.first_uf + c.second_uf) for c in sold}
    return problem(odds, prices, {})


def cost(p: Problem, counts: Counts) -> float:
    return sum(n * price for n, price in zip(counts, p.prices, strict=True))


def searched(p: Problem, counts: Counts) -> Counts:
    """Return the counts after every cheaper exchange of up to two cans for up to two others that keeps the promise."""
    cases, kinds = Cases(p), range(len(p.kinds))
    moves = [
        (out, into)
        for size in (1, 2)
        for out in itertools.combinations_with_replacement(kinds, size)
        for more in range(3)
        for into in itertools.combinations_with_replacement(kinds, more)
        if not set(out) & set(into)
    ]
    gains = [sum(p.prices[k] for k in out) - sum(p.prices[k] for k in into) for out, into in moves]
    order = sorted((n for n in range(len(moves)) if gains[n] > 1e-9), key=lambda n: -gains[n])
    better = True
    while better:
        better = False
        for n in order:
            trial = list(counts)
            for k in moves[n][0]:
                trial[k] -= 1
            if min(trial) < 0:
                continue
            for k in moves[n][1]:
                trial[k] += 1
            if cases.covers_plainly(tuple(trial)) >= LEVEL:
                counts, better = tuple(trial), True
                break
    return counts


def test_lists_beyond_the_proof_against_the_proof(monkeypatch) -> None:
    gaps = []
    for seed in range(12):
        p = a_list(seed, sizes=3, expected=2.0 + seed % 3)
        quick = cheapest(p, LEVEL, most_states=0)
        with monkeypatch.context() as patch:
            patch.setattr(module, "MOST_PROVEN", 10**9)
            sure = cheapest(p, LEVEL, most_states=20_000)
        if sure.exact:
            gaps.append(cost(p, quick.counts) / cost(p, sure.counts) - 1)
    print(f"{len(gaps)} lists proven: dearer by {np.mean(gaps):.1%} on average, {max(gaps):.1%} at most")
    assert len(gaps) >= 6
    assert min(gaps) > -1e-9
    assert np.mean(gaps) <= 0.05
    assert max(gaps) <= 0.25


@pytest.mark.parametrize(("sizes", "expected"), [(8, 6.0), (12, 15.0), (25, 40.0)])
def test_larger_lists_against_a_slower_search(sizes: int, expected: float) -> None:
    gaps = []
    for seed in range(3):
        p = a_list(100 + seed, sizes, expected)
        quick = cheapest(p, LEVEL)
        slow = searched(p, quick.counts)
        gaps.append(cost(p, quick.counts) / cost(p, slow) - 1)
    print(f"{sizes} sizes, {expected:g} needs: dearer by {np.mean(gaps):.1%} on average, {max(gaps):.1%} at most")
    assert np.mean(gaps) <= 0.1
