"""The mess of a real office: a few wrong rows of named kinds, each remembered, so that tests can count them.

A fault of scope ``row`` should cost its row, one of scope ``value`` only that value; ``suspect`` ones are possible but
not believable and stay. The truth is kept in ``.truth/faults.csv``, where no import looks.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from sample_exports.generator.styles import Style, Value


@dataclass
class Row:
    """One record to be written: canonical values, cells typed otherwise, and what is wrong with it."""

    values: dict[str, Value]
    typed: dict[str, str] = field(default_factory=dict)
    extra: tuple[str, ...] = ()
    kind: str = ""
    scope: str = ""
    column: str = ""


Fault = Callable[[np.random.Generator, Row, Style], bool]


def _typed(row: Row, name: str, text: str) -> bool:
    row.typed[name] = text
    row.column = name
    return True


def _number(row: Row, name: str) -> float | None:
    value = row.values.get(name)
    return value if isinstance(value, float) else None


def missing_visit_id(_rng: np.random.Generator, row: Row, _style: Style) -> bool:
    return _typed(row, "visit_id", "")


def missing_unit_id(_rng: np.random.Generator, row: Row, _style: Style) -> bool:
    return _typed(row, "unit_id", "")


def missing_date(_rng: np.random.Generator, row: Row, _style: Style) -> bool:
    return _typed(row, "visit_date", "")


def impossible_date(_rng: np.random.Generator, row: Row, style: Style) -> bool:
    date = row.values["visit_date"]
    assert isinstance(date, dt.date)
    written = style.text("visit_date", dt.date(date.year, 10, 28))
    return _typed(row, "visit_date", written.replace("28", "32", 1))


def far_future_date(_rng: np.random.Generator, row: Row, style: Style) -> bool:
    date = row.values["visit_date"]
    assert isinstance(date, dt.date)
    return _typed(row, "visit_date", style.text("visit_date", date.replace(year=2062, day=min(date.day, 28))))


def extra_cells(_rng: np.random.Generator, row: Row, _style: Style) -> bool:
    row.extra = ("and it", "rattles")
    return True


def out_of_range(rng: np.random.Generator, row: Row, style: Style) -> bool:
    """A digit too many: 118 psig typed 11840."""
    options = [
        n
        for n in ("suction_psig", "liquid_psig", "outdoor_db_f", "herm_uf", "line_volts")
        if (_number(row, n) or 0) > 20 and n in style.headers
    ]
    if not options:
        return False
    name = str(rng.choice(options))
    return _typed(row, name, style.text(name, row.values[name]).split(style.decimal)[0] + "840")


def not_a_number(rng: np.random.Generator, row: Row, style: Style) -> bool:
    options = [
        n
        for n in ("suction_line_f", "liquid_psig", "return_db_f", "herm_uf", "fan_uf", "supply_db_f")
        if _number(row, n) and n in style.headers
    ]
    if not options:
        return False
    return _typed(row, str(rng.choice(options)), str(rng.choice(["see tag", "3o.5", "lowish", "err 4"])))


def unknown_word(rng: np.random.Generator, row: Row, _style: Style) -> bool:
    return _typed(row, "visit_type", str(rng.choice(["zzz", "ticket 2", "third time"])))


def wet_over_dry(_rng: np.random.Generator, row: Row, _style: Style) -> bool:
    """Wet and dry bulb in each other's columns: both values go."""
    dry, wet = _number(row, "return_db_f"), _number(row, "return_wb_f")
    if dry is None or wet is None or dry - wet < 3.5 or dry > 89.0:
        return False
    row.values["return_db_f"], row.values["return_wb_f"] = wet, dry
    row.column = "return_wb_f"
    return True


def gauges_swapped(_rng: np.random.Generator, row: Row, style: Style) -> bool:
    low, high = _number(row, "suction_psig"), _number(row, "liquid_psig")
    if low is None or high is None or "suction_psig" not in style.headers or row.values.get("mode") == "heating":
        return False
    row.values["suction_psig"], row.values["liquid_psig"] = high, low
    row.column = "liquid_psig"
    return True


def sections_swapped(_rng: np.random.Generator, row: Row, _style: Style) -> bool:
    herm, fan = _number(row, "herm_uf"), _number(row, "fan_uf")
    if herm is None or fan is None or herm < 20.0 or not 2.0 < fan < 12.0 or row.values.get("cause"):
        return False
    row.values["herm_uf"], row.values["fan_uf"] = fan, herm
    row.column = "herm_uf"
    return True


def decimal_slip(_rng: np.random.Generator, row: Row, _style: Style) -> bool:
    herm = _number(row, "herm_uf")
    if herm is None or herm < 25.0 or row.values.get("cause"):
        return False
    row.values["herm_uf"] = round(herm / 10.0, 2)
    row.column = "herm_uf"
    return True


KINDS: dict[str, tuple[str, Fault]] = {
    "missing_visit_id": ("row", missing_visit_id),
    "missing_unit_id": ("row", missing_unit_id),
    "missing_date": ("row", missing_date),
    "impossible_date": ("row", impossible_date),
    "far_future_date": ("row", far_future_date),
    "extra_cells": ("row", extra_cells),
    "out_of_range": ("value", out_of_range),
    "not_a_number": ("value", not_a_number),
    "unknown_word": ("value", unknown_word),
    "wet_over_dry": ("value", wet_over_dry),
    "gauges_swapped": ("suspect", gauges_swapped),
    "sections_swapped": ("suspect", sections_swapped),
    "decimal_slip": ("suspect", decimal_slip),
}


def soil(
    rng: np.random.Generator, rows: list[Row], style: Style, share: float, start: int, *, twins: bool
) -> list[Row]:
    """Return the rows, about ``share`` of them spoilt, kinds in turn from the ``start``-th; ``twins`` repeats a few.

    Two rows of one key that disagree (kind ``same_key``) both lose; an identical repeat (``repeat``) costs nothing.
    """
    kinds = list(KINDS.items())
    order = iter(rng.permutation(len(rows)).tolist())
    wanted = max(round(share * len(rows)), 1)
    for n in range(wanted):
        name, (scope, spoil) = kinds[(start + n) % len(kinds)]
        for at in order:
            if not rows[at].kind and spoil(rng, rows[at], style):
                rows[at].kind, rows[at].scope = name, scope
                break
    out = list(rows)
    for kind in ("same_key", "repeat") if twins else ():
        at = next((a for a in order if not rows[a].kind and isinstance(rows[a].values.get("return_db_f"), float)), None)
        if at is None:
            continue
        twin = Row(dict(rows[at].values), kind=kind, scope="row" if kind == "same_key" else "repeat")
        if kind == "same_key":
            twin.values["return_db_f"] = float(twin.values["return_db_f"] or 0.0) + 1.0  # type: ignore[arg-type]
            rows[at].kind, rows[at].scope = kind, "row"
        out.insert(out.index(rows[at]) + 1, twin)
    return out


def corrected_later(rng: np.random.Generator, rows: list[Row], count: int) -> list[Row]:
    """Spoil ``count`` rows unseen; return the rows of a later file that put them right."""
    restated = []
    for at in rng.permutation(len(rows)).tolist():
        row = rows[at]
        herm = _number(row, "herm_uf")
        if row.kind or herm is None or herm < 20.0 or row.values.get("cause"):
            continue
        restated.append(Row(dict(row.values), kind="restated", scope="correction", column="herm_uf"))
        row.values["herm_uf"] = round(herm * (0.93 if len(restated) % 2 else 1.04), 1)
        if len(restated) % 4 == 0:
            row.values["leak_found"], restated[-1].values["leak_found"] = "suspected", None  # a blank clears the field
        if len(restated) == count:
            break
    return restated
