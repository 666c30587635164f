"""The rows of one list: what is to be on board for a week, a truck or an order, and what it stands in for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np
import polars as pl

from pipeline.plan.cases import Problem, problem
from pipeline.plan.cheapest import cheapest, without_spare
from pipeline.plan.counts import Floats, count_odds, quantity_for
from pipeline.plan.parts_demand import CAPACITOR, stock_facts
from pipeline.plan.prices import Prices
from pipeline.plan.substitution import Capacitor, Need, Service, substitute

STOCK_LIST_SCHEMA = pl.Schema(
    {
        "part": pl.String(),
        "size": pl.String(),
        "quantity": pl.Int64(),
        "covers_pct": pl.Float64(),
        "substitutes": pl.String(),
        "for_what": pl.String(),
        "for_which": pl.String(),
        "expected": pl.Float64(),
        "size_covers_pct": pl.Float64(),
        "on_hand": pl.Int64(),
        "to_order": pl.Int64(),
        "cost": pl.Float64(),
        "truck": pl.String(),
        "week_start": pl.Date(),
        "order_by": pl.Date(),
        "proven": pl.Boolean(),
    }
)
"""One row per part, size and use, sorted by use and size.

``quantity`` is what is to be on board (for an order: what is to be ordered). ``covers_pct`` is the probability that the
list, stand-ins counted and stop-gaps not, serves every need for this part in this use: for capacitors the same on each
row of a list. ``size_covers_pct``: that the quantity alone is enough for the units whose label names this very size.
"""

DAY_PARTS_SCHEMA = pl.Schema(
    {
        "technician": pl.String(),
        "date": pl.Date(),
        "part": pl.String(),
        "size": pl.String(),
        "quantity": pl.Int64(),
        "expected": pl.Float64(),
        "covers_pct": pl.Float64(),
        "substitutes": pl.String(),
    }
)
"""One row per technician-day, part and size: what that day is likely to use."""

JUMPER, STRAP = "jumper_wire", "mounting_strap"


@dataclass(frozen=True)
class Use:
    """One list to make: what for, with the chances of its needs and what lies there already."""

    for_what: str
    for_which: str
    chances: pl.DataFrame
    on_hand: Mapping[tuple[str, str], int]
    cans: Mapping[Capacitor, int]
    truck: str | None = None
    week_start: dt.date | None = None
    order_by: dt.date | None = None


def groups(frame: pl.DataFrame, *by: str) -> list[tuple[tuple[Any, ...], pl.DataFrame]]:
    """Return the rows by the values of ``by``, in their order."""
    ordered = frame.sort(*by, "unit_id", "part", "size")
    return list(ordered.partition_by(list(by), as_dict=True, maintain_order=True).items())


def _need(row: Mapping[str, float]) -> Need:
    return Need(Capacitor(row["first_uf"], row["second_uf"], row["volts"]), row["tolerance_pct"])


def _odds(chances: pl.DataFrame) -> dict[Need, Floats]:
    """Return the distribution of the count of each capacitor asked for."""
    keys = ["first_uf", "second_uf", "volts", "tolerance_pct"]
    caps = chances.filter(pl.col("part") == CAPACITOR).sort(*keys, "unit_id")
    return {
        _need(dict(zip(keys, key, strict=True))): count_odds(rows["p"].to_numpy())
        for key, rows in caps.partition_by(keys, as_dict=True, maintain_order=True).items()
    }


def stock_rows(use: Use, prices: Prices, level: float) -> pl.DataFrame:
    """Return the rows of one list: what is to be on board."""
    rows = _capacitor_rows(use, _odds(use.chances), prices.cans, level) + _other_rows(use, prices.parts, level)
    fixed = {
        "for_what": use.for_what,
        "for_which": use.for_which,
        "truck": use.truck,
        "week_start": use.week_start,
        "order_by": use.order_by,
    }
    return pl.DataFrame([row | fixed for row in rows], schema=STOCK_LIST_SCHEMA)


def _capacitor_rows(
    use: Use, odds: Mapping[Need, Floats], prices: Mapping[Capacitor, float], level: float
) -> list[dict[str, object]]:
    if not odds:
        return []
    wanted = {kind for need in odds for kind in _bought_for(need, prices)}
    p = problem(odds, {can: prices[can] for can in wanted}, use.cans)
    found = without_spare(p, cheapest(p, level), level)
    counts = _needed_only(p, found.counts)
    listed = [can for can, quantity in zip(p.kinds, counts, strict=True) if quantity]
    # pairs in parallel are many and slow to go through, and told only where nothing plainer serves
    ways = {need: substitute(need, listed, stop_gaps=False) or substitute(need, listed) for need in p.needs}
    rows: list[dict[str, object]] = []
    for can, quantity in zip(p.kinds, counts, strict=True):
        if quantity:
            have = use.cans.get(can, 0)
            rows.append(
                {
                    "part": CAPACITOR,
                    "size": can.size,
                    "quantity": quantity,
                    "covers_pct": round(100 * found.covers, 2),
                    "substitutes": _serves_for(can, ways),
                    "expected": sum(_mean(law) for need, law in odds.items() if _own(need, can)),
                    "size_covers_pct": _size_covers(can, quantity, odds),
                    "on_hand": have,
                    "to_order": max(0, quantity - have),
                    "cost": prices.get(can, 0.0) * max(0, quantity - have),
                    "proven": found.exact,
                }
            )
    return rows + _fixings(use, p, counts, found.covers)


def _bought_for(need: Need, prices: Mapping[Capacitor, float]) -> set[Capacitor]:
    """Return what may be bought for a need: its own size and its sections as singles, at a voltage that serves."""
    return {
        can
        for can in prices
        if can.volts >= need.can.volts
        and (
            (can.first_uf, can.second_uf) == (need.can.first_uf, need.can.second_uf)
            or (not can.second_uf and can.first_uf in need.can.sections)
        )
    }


def _needed_only(p: Problem, counts: Sequence[int]) -> tuple[int, ...]:
    """Return the counts without what lies there and serves nothing on this list."""
    useful = {kind for ways in p.ways for way in ways for kind, _ in way}
    return tuple(n if kind in useful else 0 for kind, n in enumerate(counts))


def _mean(law: Floats) -> float:
    return float((np.arange(len(law)) * law).sum())


def _own(need: Need, can: Capacitor) -> bool:
    return (need.can.first_uf, need.can.second_uf) == (can.first_uf, can.second_uf) and need.can.volts <= can.volts


def _size_covers(can: Capacitor, quantity: int, odds: Mapping[Need, Floats]) -> float:
    total = np.ones(1)
    for need, law in odds.items():
        if _own(need, can):
            total = np.convolve(total, law)
    return round(100 * float(total[: quantity + 1].sum()), 2)


MOST_SAID = 4
PLAINEST = 3
"""Ways per need that are worth telling, its own size among them."""


def _serves_for(can: Capacitor, ways: Mapping[Need, Sequence[Service]]) -> str:
    """Return what else the can serves for on this list, each way said once; a stop-gap only where nothing plainer is.

    ``one section unused: 5 uF 440 V; commons jumpered: 45+5 uF 440 V with 45 uF 440 V``.
    """
    said: dict[str, dict[str, None]] = {}
    for need, services in ways.items():
        told = [way for way in services[:PLAINEST] if way == services[0] or not way.stop_gap]
        way = next((way for way in told if any(kind == can for kind, _ in way.cans)), None)
        if need.can != can and way is not None:
            said.setdefault(_how(need, way), {})[need.can.size + _beside(way, can)] = None
    named = [(how, size) for how, sizes in sorted(said.items(), key=lambda item: len(item[0])) for size in sizes]
    shown = groupby(named[:MOST_SAID], key=lambda pair: pair[0])
    texts = [": ".join(filter(None, (how, ", ".join(size for _, size in pairs)))) for how, pairs in shown]
    rest = len(named) - MOST_SAID
    return "; ".join(texts + ([f"and {rest} more"] if rest > 0 else []))


def _how(need: Need, way: Service) -> str:
    """Return what is done beyond fitting it; nothing where the microfarads are the same and the volts as high."""
    words = ["stop-gap, sections in parallel"] if way.stop_gap else ["commons jumpered"] if way.jumper else []
    words += ["one section unused"] if way.unused_section else []
    there = {value for can, _ in way.cans for value in can.sections}
    other = not way.stop_gap and not there.issuperset(need.can.sections)
    return ", ".join(words + (["other microfarads within the label's tolerance"] if other else []))


def _beside(way: Service, can: Capacitor) -> str:
    others = [f"{c.size}" + (f" x{n}" if n > 1 else "") for c, n in way.cans if c != can]
    count = dict(way.cans)[can]
    words = ([f"with {' and '.join(others)}"] if others else []) + ([f"{count} of it"] if count > 1 else [])
    return "".join(f" {word}" for word in words)


def _fixings(use: Use, p: Problem, counts: Sequence[int], covers: float) -> list[dict[str, object]]:
    """Return the jumper wires and straps for as many stand-ins of two cans as the list allows."""
    singles = [n for can, n in zip(p.kinds, counts, strict=True) if not can.second_uf]
    duals = any(need.can.second_uf for need in p.needs)
    pairs = sum(singles) // 2 if duals else 0
    return [
        {
            "part": part,
            "size": "",
            "quantity": pairs,
            "covers_pct": round(100 * covers, 2),
            "substitutes": "two singles in place of a dual",
            "on_hand": use.on_hand.get((part, ""), 0),
            "to_order": max(0, pairs - use.on_hand.get((part, ""), 0)),
        }
        for part in (JUMPER, STRAP)
        if pairs
    ]


def _other_rows(use: Use, prices: Mapping[str, float], level: float) -> list[dict[str, object]]:
    facts = stock_facts()["parts"]
    rows: list[dict[str, object]] = []
    for (part,), chances in groups(use.chances.filter(pl.col("part") != CAPACITOR), "part"):
        law = count_odds(chances["p"].to_numpy())
        sure = chances.filter(pl.col("p") >= 0.9).height
        # what is dear or made to measure is carried only for those who wait for it
        quantity = quantity_for(law, level) if facts[str(part)]["carried"] else sure
        if quantity:
            have = use.on_hand.get((str(part), ""), 0)
            covers = round(100 * float(law[: quantity + 1].sum()), 2)
            rows.append(
                {
                    "part": part,
                    "size": "",
                    "quantity": quantity,
                    "covers_pct": covers,
                    "substitutes": "",
                    "expected": _mean(law),
                    "size_covers_pct": covers,
                    "on_hand": have,
                    "to_order": max(0, quantity - have),
                    "cost": prices[str(part)] * max(0, quantity - have),
                    "proven": True,
                }
            )
    return rows


def day_rows(technician: str, date: dt.date, rows: pl.DataFrame, level: float) -> pl.DataFrame:
    """Return what one day is likely to use: each size and part by itself, at the same level."""
    out = []
    for (part, size), chances in groups(rows, "part", "size"):
        law = count_odds(chances["p_stop"].to_numpy())
        carried = part == CAPACITOR or stock_facts()["parts"][str(part)]["carried"]
        quantity = quantity_for(law, level) if carried else chances.filter(pl.col("p_stop") >= 0.9).height
        if quantity:
            out.append(
                {
                    "technician": technician,
                    "date": date,
                    "part": part,
                    "size": size,
                    "quantity": quantity,
                    "expected": _mean(law),
                    "covers_pct": round(100 * float(law[: quantity + 1].sum()), 2),
                    "substitutes": stand_in(chances.row(0, named=True)) if part == CAPACITOR else "",
                }
            )
    return pl.DataFrame(out, schema=DAY_PARTS_SCHEMA)


def stand_in(row: Mapping[str, float]) -> str:
    """Return the words for what serves where the size itself is out: two singles, or the higher voltage."""
    first, second, volts = row["first_uf"], row["second_uf"], row["volts"]
    if second:
        return f"{first:g} uF and {second:g} uF singles of {volts:g} V or more, commons jumpered, with a strap"
    return f"a dual with a {first:g} uF section of {volts:g} V or more, the other section unused"
