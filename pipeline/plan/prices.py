"""What a part costs the shop: as stock.csv says, else what it paid before, else a guess on the same level."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median

import polars as pl

from pipeline.plan.parts_demand import CAPACITOR, stock_facts
from pipeline.plan.substitution import Capacitor

PAID_SCHEMA = pl.Schema(
    {
        "part": pl.String(),
        "first_uf": pl.Float64(),
        "second_uf": pl.Float64(),
        "volts": pl.Float64(),
        "cost": pl.Float64(),
    }
)
"""What was paid for one piece: the microfarads and volts of a capacitor, null for other parts."""
SOLD_VOLTS = (370.0, 440.0)
"""Voltage ratings on the shelf; the higher one is bought, because it serves for both (common practice, no source)."""


@dataclass(frozen=True)
class Prices:
    """Price of each capacitor that may be bought, and of each other part, in the shop's currency."""

    cans: Mapping[Capacitor, float]
    parts: Mapping[str, float]


def part_prices(needs: pl.DataFrame, on_hand: pl.DataFrame, paid: pl.DataFrame) -> Prices:
    """Return what may be bought and what it costs.

    Parameters
    ----------
    needs
        ``NEEDS_SCHEMA``: the sizes asked for, and their sections as singles, may be bought.
    on_hand
        ``ON_HAND_SCHEMA``; a cost in it counts first.
    paid
        ``PAID_SCHEMA``, one row per part and label.

    Notes
    -----
    A size that was never bought costs the shipped guess times what the shop pays for its other sizes relative to theirs
    (the median): else a guess of a single would be weighed against a price paid for a dual.
    """
    said = _by_can(on_hand.filter(pl.col("cost") > 0))
    before = _by_can(paid)
    kinds = _buyable(needs) | set(said)
    level = median([cost / _guess(can) for can, cost in before.items()] or [1.0])
    cans = {can: said.get(can) or before.get(can) or _guess(can) * level for can in sorted(kinds)}
    parts = {part: float(spec["price"]) for part, spec in stock_facts()["parts"].items()}
    for frame in (paid, on_hand.filter(pl.col("cost") > 0)):
        others = frame.filter(pl.col("part").is_in(list(parts)))
        parts |= dict(others.select("part", "cost").iter_rows())
    return Prices(cans, parts)


def _by_can(frame: pl.DataFrame) -> dict[Capacitor, float]:
    rows = frame.filter(pl.col("part") == CAPACITOR).select("first_uf", "second_uf", "volts", "cost")
    return {Capacitor(first, second, volts): cost for first, second, volts, cost in rows.iter_rows()}


def _buyable(needs: pl.DataFrame) -> set[Capacitor]:
    """Return the sizes asked for and their sections as singles, at the higher voltage."""
    labels = needs.filter(pl.col("part") == CAPACITOR).select("first_uf", "second_uf", "volts").unique()
    kinds = set()
    for first, second, volts in labels.iter_rows():
        sold = next((v for v in reversed(SOLD_VOLTS) if v >= volts), volts)
        kinds |= {Capacitor(first, second, sold)} | {Capacitor(uf, 0.0, sold) for uf in (first, second) if uf}
    return kinds


def _guess(can: Capacitor) -> float:
    facts = stock_facts()["capacitor_price"]
    base = facts["dual_base"] if can.second_uf else facts["single_base"]
    return float(base + facts["per_uf"] * (can.first_uf + can.second_uf))
