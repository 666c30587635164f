"""What serves for what: the rules of the trade, one by one, and as laws."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.plan.substitution import Capacitor, Need, parse_size, substitute


def can(text: str) -> Capacitor:
    found = parse_size(text)
    assert found is not None
    return found


def sizes(need: str, *on_hand: str) -> list[list[str]]:
    return [
        [kind.size for kind, n in way.cans for _ in range(n)]
        for way in substitute(Need(can(need)), [can(text) for text in on_hand])
    ]


@pytest.mark.parametrize(
    ("need", "on_hand", "serves"),
    [
        # common practice: two singles with their commons jumpered may replace one dual
        ("45+5 370V", ("45 370V", "5 370V"), True),
        ("45+5 370V", ("45 440V", "5 440V"), True),
        # a higher voltage rating serves, a lower never
        ("45+5 370V", ("45+5 440V",), True),
        ("45+5 440V", ("45+5 370V",), False),
        ("45+5 440V", ("45 440V", "5 370V"), False),
        # within 6 % of the label: 47.5 is 5.6 % over 45, 48 is 6.7 % over
        ("45 440V", ("47.5 440V",), True),
        ("45 440V", ("48 440V",), False),
        ("5 440V", ("5.3 440V",), True),
        ("5 440V", ("6 440V",), False),
        # never size up to help a motor
        ("35+5 440V", ("40+5 440V",), False),
        # parallel sections add: 25 + 20 = 45, and the two sections of a 40+5
        ("45 440V", ("25 440V", "20 440V"), True),
        ("45 440V", ("40+5 440V",), True),
        # a dual with one section unused
        ("45 440V", ("45+5 440V",), True),
        ("45+7.5 440V", ("45+5 440V", "7.5 440V"), True),
        ("45+7.5 440V", ("45+5 440V",), False),
    ],
)
def test_rule(need, on_hand, serves):
    assert bool(sizes(need, *on_hand)) is serves


def test_two_singles_take_a_jumper_and_a_strap_and_are_no_stop_gap():
    [way] = substitute(Need(can("45+5 370V")), [can("45 370V"), can("5 370V")])
    assert (way.jumper, way.stop_gap, way.unused_section) == (True, False, False)


def test_the_size_itself_comes_first_and_a_stop_gap_last():
    ways = substitute(
        Need(can("45+5 440V")), [can(t) for t in ("45+5 440V", "45 440V", "5 440V", "25 440V", "20 440V")]
    )
    assert [kind.size for kind, _ in ways[0].cans] == ["45+5 uF 440 V"]
    assert not ways[0].jumper
    assert ways[-1].stop_gap
    assert [way.stop_gap for way in ways] == sorted(way.stop_gap for way in ways)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("45+5", "45+5 uF 440 V"),
        ("5/45 370", "45+5 uF 370 V"),
        ("45/5 370VAC", "45+5 uF 370 V"),
        ("45 + 7,5 µF 370/440 V", "45+7.5 uF 440 V"),
        ("10MFD 370V", "10 uF 370 V"),
        ("7.5", "7.5 uF 440 V"),
    ],
)
def test_sizes_as_people_write_them(text, size):
    assert can(text).size == size


@pytest.mark.parametrize("text", ["", "large", "0", "45+5+5", "=45", "-5 440V"])
def test_what_is_no_size(text):
    assert parse_size(text) is None


KINDS = [can(t) for t in ("40+5 440V", "45+5 370V", "45+5 440V", "45 440V", "5 440V", "20 440V", "25 440V", "40 370V")]


def serves_by_hand(need: Need, cans: tuple[Capacitor, ...]) -> bool:
    """Try every use of every section: hermetic, fan or none."""
    values = [uf for kind in cans if kind.volts >= need.can.volts for uf in kind.sections]
    for uses in product(range(3), repeat=len(values)):
        sums = [sum(v for v, use in zip(values, uses, strict=True) if use == n) for n in range(2)]
        counts = [uses.count(n) for n in range(2)]
        wanted = (need.can.first_uf, need.can.second_uf)
        if max(counts) <= 2 and all(
            abs(s - w) <= w * need.tolerance_pct / 100 + 1e-9 for s, w in zip(sums, wanted, strict=True)
        ):
            return True
    return False


@given(st.sampled_from(KINDS), st.lists(st.sampled_from(KINDS), min_size=1, max_size=3))
@settings(max_examples=150, deadline=None)
def test_equals_trying_every_use_of_every_section(wanted, cans):
    need = Need(wanted)
    pool: dict[Capacitor, int] = {}
    for kind in cans:
        pool[kind] = pool.get(kind, 0) + 1
    found = any(all(pool.get(kind, 0) >= n for kind, n in way.cans) for way in substitute(need, pool))
    assert found == serves_by_hand(need, tuple(cans))
