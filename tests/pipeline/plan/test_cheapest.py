"""The cheapest list against enumeration, and its promise against simulation."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from pipeline.plan.cases import Problem, problem
from pipeline.plan.cheapest import cheapest
from pipeline.plan.counts import count_odds, quantity_for
from pipeline.plan.substitution import Capacitor, Need, parse_size


def can(text: str) -> Capacitor:
    found = parse_size(text)
    assert found is not None
    return found


def test_equal_chances_are_the_binomial_law():
    """scipy is the reference."""
    assert count_odds([0.3] * 12) == pytest.approx(binom.pmf(np.arange(13), 12, 0.3))


def test_four_chances_by_hand():
    # 0.1, 0.2: none 0.9*0.8 = 0.72, both 0.02, one the rest
    assert count_odds([0.1, 0.2]) == pytest.approx([0.72, 0.26, 0.02])
    assert [quantity_for(count_odds([0.1, 0.2]), level) for level in (0.5, 0.95, 0.99)] == [0, 1, 2]


@given(st.lists(st.floats(0, 1), max_size=9))
@settings(max_examples=60, deadline=None)
def test_counts_equal_enumeration(chances):
    law = np.zeros(len(chances) + 1)
    for hits in product((0, 1), repeat=len(chances)):
        law[sum(hits)] += math.prod(p if hit else 1 - p for p, hit in zip(chances, hits, strict=True))
    found = count_odds(chances)
    assert np.pad(found, (0, len(law) - len(found))) == pytest.approx(law, abs=1e-11)


def served_by_search(ways, wanted, left) -> bool:
    if not wanted:
        return True
    return any(
        all(left[kind] >= n for kind, n in way)
        and served_by_search(ways, wanted[1:], [c - dict(way).get(kind, 0) for kind, c in enumerate(left)])
        for way in ways[wanted[0]]
    )


def by_enumeration(p: Problem, level: float, most: int) -> tuple[float, float]:
    """Return the least cost over every set of up to ``most`` of each kind, and its coverage."""
    cases = list(product(*(range(len(law)) for law in p.odds)))
    mass = {case: math.prod(law[n] for law, n in zip(p.odds, case, strict=True)) for case in cases}
    best = (math.inf, 0.0)
    for counts in product(range(most + 1), repeat=len(p.kinds)):
        cost = sum(n * price for n, price in zip(counts, p.prices, strict=True))
        if cost < best[0] - 1e-9:
            total = [n + have for n, have in zip(counts, p.have, strict=True)]
            covers = sum(
                m
                for case, m in mass.items()
                if served_by_search(p.ways, [k for k, n in enumerate(case) for _ in range(n)], total)
            )
            if covers >= level:
                best = (cost, covers)
    return best


SMALL = {
    can("45+5 440V"): 18.0,
    can("45 440V"): 13.0,
    can("5 440V"): 8.0,
    can("45+7.5 440V"): 18.5,
    can("7.5 440V"): 9.0,
}
chances = st.lists(st.floats(0.01, 0.6), min_size=1, max_size=2)


@given(chances, chances, chances, st.sampled_from([0.6, 0.8, 0.9]), st.integers(0, 1), st.booleans())
@settings(max_examples=8, deadline=None)
def test_cheapest_equals_enumeration_with_stand_ins(dual, other, blower, level, lying, gaps):
    odds = {
        Need(can("45+5 370V")): count_odds(dual),
        Need(can("45+7.5 440V")): count_odds(other),
        Need(can("5 440V")): count_odds(blower),
    }
    p = problem(odds, SMALL, {can("45+5 440V"): lying}, stop_gaps=gaps)
    found = cheapest(p, level, most_states=100_000)
    cost = sum((n - have) * price for n, have, price in zip(found.counts, p.have, p.prices, strict=True))
    best, _ = by_enumeration(p, level, 2)
    assert found.exact
    assert cost == pytest.approx(best)
    assert found.covers >= level


def test_shared_singles_beat_one_dual_of_each_rare_size():
    """Six sizes wanted one time in thirty: a single 45 and the fans' singles serve for any of them."""
    fans = (3, 4, 5, 7.5, 10, 12.5)
    needs = {Need(can(f"45+{fan:g} 440V")): count_odds([1 / 30]) for fan in fans}
    prices = {can(f"45+{fan:g} 440V"): 20.0 for fan in fans} | {can(f"{fan:g} 440V"): 2.0 for fan in fans}
    found = cheapest(problem(needs, prices | {can("45 440V"): 12.0}, {}), 0.97)
    p = problem(needs, prices | {can("45 440V"): 12.0}, {})
    named = {kind.size: n for kind, n in zip(p.kinds, found.counts, strict=True) if n}
    assert named["45 uF 440 V"] == 1
    assert not any("+" in size for size in named)


@pytest.mark.parametrize("stops", [10, 30])
def test_the_promise_is_what_simulation_gives(stops):
    """Draw the stops' needs 10,000 times, serve each from the list by search: within 2 points of the promise."""
    random = np.random.default_rng(stops)
    labels = [
        Need(can(f"{herm}+{fan:g} {volts}V")) for herm in (35, 45, 55) for fan in (5, 7.5) for volts in (370, 440)
    ]
    unit = [labels[i] for i in random.integers(0, len(labels), stops)]
    p_unit = random.random(stops) ** 3 * 0.5
    odds = {need: count_odds([p for n, p in zip(unit, p_unit, strict=True) if n == need]) for need in set(unit)}
    prices = {Capacitor(n.can.first_uf, n.can.second_uf, 440.0): 18.0 for n in odds}
    prices |= {Capacitor(uf, 0.0, 440.0): 8 + 0.1 * uf for n in odds for uf in n.can.sections}
    p = problem(odds, prices, {})
    found = cheapest(p, 0.95)
    at = {need: k for k, need in enumerate(p.needs)}
    rounds = 10_000
    hits = random.random((rounds, stops)) < p_unit
    known: dict[tuple[int, ...], bool] = {}
    met = 0
    for row in hits:
        wanted = tuple(sorted(at[unit[i]] for i in np.flatnonzero(row)))
        if wanted not in known:
            known[wanted] = served_by_search(p.ways, list(wanted), list(found.counts))
        met += known[wanted]
    assert found.covers >= 0.95
    assert met / rounds == pytest.approx(found.covers, abs=0.02)
