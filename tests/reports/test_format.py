"""Values in words: expected texts worked out by hand."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports import format


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (0.31, "about 3 in 10"),
        (0.15, "about 2 in 10"),
        (0.149, "about 1 in 7"),  # 1 / 0.149 = 6.7
        (0.1, "about 1 in 10"),
        (0.05, "about 1 in 20"),
        (0.01, "about 1 in 100"),
        (0.0099, "fewer than 1 in 100"),
        (0.96, "more than 9 in 10"),
        (None, "not known"),
    ],
)
def test_chance(p: float | None, text: str) -> None:
    assert format.chance(p) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (0.2, 0.5, "2 to 5 in 10"),
        (0.02, 0.12, "2 to 12 in 100"),
        (0.001, 0.04, "under 1 to 4 in 100"),
        (0.0, 0.004, "under 1 in 100"),
        (0.31, 0.34, "3 in 10"),
        (None, 0.4, ""),
    ],
)
def test_chance_range(low: float | None, high: float | None, text: str) -> None:
    assert format.chance_range(low, high) == text


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(1234567.0, 0, "1,234,567"), (-6.0, 1, "−6.0"), (-0.04, 1, "0.0"), (None, 1, "–")],
)
def test_number(value: float | None, decimals: int, text: str) -> None:
    assert format.number(value, decimals) == text


@pytest.mark.parametrize(("value", "text"), [(-13.5, "−13.5"), (2.0, "+2.0"), (0.0, "0.0"), (-0.01, "0.0")])
def test_signed(value: float, text: str) -> None:
    assert format.signed(value) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.3, "fewer than one no-cooling call"),
        (1.0, "about 1 no-cooling call"),
        (1.6, "about 2 no-cooling calls"),
        (14.2, "about 14 no-cooling calls"),
    ],
)
def test_calls(value: float, text: str) -> None:
    assert format.calls(value) == text


@pytest.mark.parametrize(("days", "text"), [(1, "1 day"), (20, "20 days"), (21, "3 weeks"), (48, "7 weeks")])
def test_weeks(days: int, text: str) -> None:
    assert format.weeks(days) == text


def test_day_does_not_follow_the_locale() -> None:
    assert format.day(dt.date(2026, 3, 4)) == "4 Mar 2026"


def test_capacitor_size() -> None:
    part = {"cap_herm_uf": 40.0, "cap_fan_uf": 7.5, "cap_blower_uf": None, "cap_volts": 440.0}
    assert format.capacitor_size(part) == "40+7.5 µF 440 V"
    assert format.capacitor_size(dict.fromkeys(part)) == "–"


@pytest.mark.parametrize(
    ("phone", "text"), [("+1 (555) 010-0", "+15550100"), ("555.0142 x3", "55501423"), ("none", "")]
)
def test_dialled(phone: str, text: str) -> None:
    assert format.dialled(phone) == text


@given(st.text(max_size=400))
def test_chart_text_leaves_no_markup(text: str) -> None:
    shown = format.chart_text(text)
    assert "<" not in shown
    assert ">" not in shown


@given(st.text(max_size=400))
def test_cut_is_one_short_printable_line(text: str) -> None:
    shown = format.name(text)
    assert len(shown) <= format.NAME_SHOWN
    assert shown.isprintable()


@given(st.text(min_size=1, max_size=80), st.text(min_size=1, max_size=80))
def test_file_names_are_plain_and_apart(one: str, other: str) -> None:
    first, second = format.file_stem(one), format.file_stem(other)
    assert all(c.isascii() and (c.isalnum() or c == "-") for c in first)
    assert (first == second) == (one == other)


@given(st.floats(0, 1))
def test_chance_is_never_blank(p: float) -> None:
    assert format.chance(p)


@given(st.floats(1e-4, 0.995), st.floats(1e-4, 0.995))
def test_no_range_reaches_none_or_all(one: float, other: float) -> None:
    """The forecast's odds end at .0001 and .995: no end of a range is told as 0 or as every one."""
    text = format.chance_range(min(one, other), max(one, other))
    assert not re.search(r"(?<!than )\b10 in 10\b|\b100 in 100\b|^0 |\b0 in", text)


def test_a_made_up_id_gives_way_to_the_customer() -> None:
    assert format.known_as("unit-87a7f36adc", "Ada Nym", "12 Quay Street") == "12 Quay Street"
    assert format.known_as("unit-87a7f36adc", None, None) == "unit-87a7f36adc"
    assert format.known_as("U-1", "Ada Nym", None) == "U-1"


def test_a_doubt_is_told_in_the_same_words_on_every_page() -> None:
    assert format.doubt("rating_copied") == "the rating typed where a reading belongs"
    assert format.doubt("evaporating_above_return_air") == "evaporating above return air"
    assert format.doubt(None) == "–"
