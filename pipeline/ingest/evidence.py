"""What the values of a column say about its meaning: they confirm a header, speak against it, or decide an open one."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import TypeVar

import polars as pl

from pipeline.fields import Field
from pipeline.ingest.match import Candidate
from pipeline.ingest.words import LONGEST, is_blank, number_words, word_for, words_for
from pipeline.units import UnknownUnit, dimension_of, line_to, spelled_units

Value = TypeVar("Value")

SAMPLE = 120
"""Cells of a column that are looked at, spread over the file."""

AGAINST = 0.5
"""Factor where most values cannot be what the header says."""

MOSTLY, RARELY = 0.6, 0.3
"""Share of the sample from which values confirm a meaning, and below which they speak against it."""

PLAIN, SPEAKS, ALMOST_NONE = 0.95, 5, 0.1
"""A header this sure is doubted only where almost no value fits, and none is doubted by fewer values than five."""

NUMBER = re.compile(r"[-+(]?\s*[$€£]?\s*(\d[\d.,'’ \u00a0]*|[.,]\d+)")
DATE = re.compile(
    r"\d{1,4}\D{1,3}(\d{1,2}|[^\W\d_]{3,})\D{1,6}\d{1,4}|^\d{8}$|^[3-5]\d{4}(\.\d+)?$"
    r"|[^\W\d_]{3,}\.? \d{1,2},? \d{4}|^(19|20)\d\d$"
)
ID = re.compile(r"(?=.*\d)[\w#./-]{1,24}|[A-Z]{1,4}[- ]?\d+|[A-Z]")
DAY = re.compile(r"(19|20)\d\d([./-])\d{1,2}\2\d{1,2}|\d{1,2}([./-])\d{1,2}\3(\d\d|(19|20)\d\d)")
"""A day in figures, which is no id."""

UNSAID = {"temperature": ("degC",), "pressure": ("kPa",)}
"""Units that a column may be in without saying so, besides the field's own; see ``unstated_units``."""

LINE_VOLTS = ((100.0, 135.0), (190.0, 260.0), (370.0, 500.0))
"""Supply voltages by nominal system [V]: 110-127, 200-240, 380-480 (common practice, no source)."""


@dataclass(frozen=True)
class Column:
    """One column of a file for judging: header, place, a sample of its filled cells, and a unit on the line below."""

    header: str
    index: int
    sample: tuple[str, ...]
    distinct: int = 0
    unit_below: str = ""

    @property
    def full_header(self) -> str:
        """The header with the unit that stands on a units line below it."""
        return f"{self.header} ({self.unit_below})" if self.unit_below else self.header

    def numbers(self) -> tuple[float, ...]:
        """Return the plain numbers of the sample; a lone comma counts as a decimal sign."""
        return tuple(value for text in self.sample if (value := _number(text)) is not None)


def column_of(header: str, index: int, texts: pl.Series, unit_below: str = "") -> Column:
    """Return the column with a sample of its filled cells, spread evenly over the file."""
    head = texts.gather_every(max(1, texts.len() // (4 * SAMPLE)))
    filled = [text[:LONGEST].strip() for text in head if text is not None and not is_blank(text[:LONGEST])]
    step = max(1, len(filled) // SAMPLE)
    sample = tuple(filled[::step][:SAMPLE])
    return Column(header, index, sample, len(set(sample)), unit_below)


def weighed(column: Column, candidate: Candidate, field: Field) -> Candidate:
    """Return the candidate with a confidence that the column's values have confirmed or lowered.

    The field's own name as header is believed whatever the values are: then each of them is judged by itself.
    """
    if not column.sample or candidate.how == "mapping":
        return candidate
    if field.table == "readings" and field.name == "unit":
        return candidate if _share(column.sample, lambda text: bool(spelled_units(text))) >= 0.5 else _less(candidate)
    if candidate.how == "exact":
        return candidate
    share = share_that_fits(column, field, candidate.unit)
    if field.kind in ("word", "words"):
        return _by_words(column, candidate, share)
    if field.name in ("visit_id", "unit_id") and candidate.confidence < 0.9:
        if share < MOSTLY:
            return _less(candidate)
        return _more(candidate, 0.85) if candidate.confidence >= 0.55 and _tells_apart(column, field) else candidate
    if field.is_numeric or field.kind == "date":
        sure = candidate.confidence >= PLAIN
        if len(column.sample) >= SPEAKS and share < (ALMOST_NONE if sure else 0.5):
            return _less(candidate)
    if field.name == "line_volts" and candidate.confidence < 0.9:
        return _more(candidate, 0.85) if _share(column.numbers(), _is_line_volts) > 0.9 else candidate
    if field.name in ("part", "item", "refrigerant") and candidate.confidence < 0.8:
        return (
            _more(candidate, 0.85)
            if _share(column.sample, lambda text: word_for(text, field) is not None) >= MOSTLY
            else candidate
        )
    if field.name == "value" and candidate.confidence < 0.9:
        return (
            _more(candidate, 0.9)
            if _share(column.sample, lambda text: _number(text) is not None) >= MOSTLY
            else _less(candidate)
        )
    if field.name == "notes" and candidate.confidence < 0.8:
        wordy = _share(column.sample, lambda text: len(text) > 25) >= RARELY
        return _more(candidate, 0.85) if wordy else candidate
    return candidate


def share_that_fits(column: Column, field: Field, unit: str | None) -> float:
    """Return the share of the sample that could be a value of the field."""
    if field.is_numeric:
        units = [unit] if unit else [None, *UNSAID.get(dimension_of(field) or "", ())]
        return max(_share(column.sample, partial(_in_range, field=field, unit=one)) for one in units)
    if field.kind == "date":
        return _share(column.sample, lambda text: DATE.search(text) is not None)
    if field.kind == "words":
        return _share(column.sample, lambda text: words_for(text, field, {})[0] is not None)
    if field.kind == "word":
        return _share(column.sample, lambda text: word_for(text, field) is not None)
    if field.name.endswith("_id"):
        return _share(column.sample, lambda text: bool(ID.fullmatch(text)) and not DAY.fullmatch(text))
    return 1.0


def _by_words(column: Column, candidate: Candidate, share: float) -> Candidate:
    if candidate.field == "measure":
        from pipeline.ingest.long_readings import measure_for

        share = _share(column.sample, lambda text: measure_for(text) is not None)
    if share >= MOSTLY and candidate.confidence >= 0.55:
        return _more(candidate, 0.9)
    free_text = _share(column.sample, lambda text: len(text) > 30) >= MOSTLY
    return replace(candidate, confidence=min(candidate.confidence, 0.7)) if share < RARELY and free_text else candidate


def _tells_apart(column: Column, field: Field) -> bool:
    """Return whether ids differ as often as they must: every visit is another ticket, units come again."""
    return column.distinct >= (0.5 if field.name == "visit_id" else 0.05) * len(column.sample)


def capacitor_pairs(columns: Sequence[Column], taken: Mapping[int, str]) -> dict[int, str]:
    """Return the columns that are the hermetic and the fan section of a dual capacitor by their values alone.

    A column of 25-90 beside one of 2.5-16 is a pair where both are filled on the same rows, the smaller always is the
    smaller, and neither is a whole-number count: the sizes that duals are sold in (common practice, no source).
    """
    found: dict[int, str] = {}
    for left, right in pairwise(columns):
        if left.index in taken or right.index in taken or left.index in found or right.index != left.index + 1:
            continue
        for herm, fan in ((left, right), (right, left)):
            if _pair_fits(herm, fan):
                found |= {herm.index: "herm", fan.index: "fan"}
    return found


def _pair_fits(herm: Column, fan: Column) -> bool:
    large, small = herm.numbers(), fan.numbers()
    enough = min(len(large), len(small)) >= 8 and len(large) + len(small) >= 0.9 * (len(herm.sample) + len(fan.sample))
    if not enough or abs(len(large) - len(small)) > 0.2 * max(len(large), len(small)):
        return False
    sized = (
        _share(large, lambda v: v == 0 or 20 <= v <= 95) >= 0.95
        and _share(small, lambda v: v == 0 or 2 <= v <= 17) >= 0.95
    )
    fine = _share(small, lambda v: v != round(v)) >= RARELY
    return sized and fine


def _number(text: str) -> float | None:
    hit = NUMBER.match(text)
    if hit is None:
        return None
    digits = re.sub(r"['’ \u00a0]", "", hit[1]).rstrip(".,")
    if digits.count(",") == 1 and "." not in digits:
        digits = digits.replace(",", ".")
    elif digits.rfind(",") > digits.rfind("."):
        digits = digits.replace(".", "").replace(",", ".")
    try:
        value = float(digits.replace(",", ""))
    except ValueError:
        return None
    return -value if text.lstrip().startswith(("-", "(", "\u2212")) else value


def _in_range(text: str, field: Field, unit: str | None) -> bool:
    folded = text.casefold()
    if field.unit == "uF" and (folded in number_words("open") or folded in number_words("none")):
        return True
    value = _number(text)
    if value is None or re.search(r"\d\s*[/-]\s*\d|[^\W\d_]{9,}", text):
        return False
    try:
        line = line_to(field, unit) if unit else None
    except UnknownUnit:
        return False
    value = value if line is None else value * line.slope + line.intercept
    low, high = field.bounds
    return low <= value <= high


def _is_line_volts(value: float) -> bool:
    return any(low <= value <= high for low, high in LINE_VOLTS)


def _share(values: Sequence[Value], fits: Callable[[Value], bool]) -> float:
    return sum(map(fits, values)) / len(values) if values else 0.0


def _more(candidate: Candidate, confidence: float) -> Candidate:
    return replace(candidate, confidence=max(candidate.confidence, confidence), how="values")


def _less(candidate: Candidate) -> Candidate:
    return replace(candidate, confidence=round(candidate.confidence * AGAINST, 4))
