"""What every truck carries for its weeks and for the season, and what is ordered when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.config import Stock
from pipeline.plan.cheapest import Problem, cheapest, problem
from pipeline.plan.counts import Floats, count_odds, quantity_for
from pipeline.plan.parts_demand import CAPACITOR, stock_facts
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
SOLD_VOLTS = (370.0, 440.0)
"""Voltage ratings on the shelf; the higher one is bought, because it serves for both (common practice, no source)."""
Key = tuple[str, ...]


@dataclass(frozen=True)
class StockPlan:
    """The stock list, the parts of each technician-day, and sentences on what is not known."""

    stock_list: pl.DataFrame
    day_parts: pl.DataFrame
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Use:
    """One list to make: what for, with the chances of its needs and what lies there already."""

    for_what: str
    for_which: str
    chances: pl.DataFrame
    on_hand: Mapping[tuple[str, str], int]
    cans: Mapping[Capacitor, int]
    truck: str | None = None
    week_start: dt.date | None = None
    order_by: dt.date | None = None


def plan_stock(
    needs: pl.DataFrame,
    stops: pl.DataFrame,
    on_hand: pl.DataFrame,
    settings: Stock,
    *,
    as_of: dt.date,
    season_start: dt.date,
    season_end: dt.date,
) -> StockPlan:
    """Return the lists for every week and truck, for the season, and for the orders.

    Parameters
    ----------
    needs
        ``NEEDS_SCHEMA``, every active unit.
    stops
        unit_id, technician, date, truck of the planned stops.
    on_hand
        ``ON_HAND_SCHEMA``.
    settings
        Service level, lead days and trucks.
    as_of, season_start, season_end
        An order is due its lead days before the round or the season begins, never before the day after as_of.

    Notes
    -----
    Planned stops: each unit's needs are independent events, their number is Poisson-binomial. Season: every unit's
    chance of a call, spread evenly over the season's days and the trucks and raised by the peak factor. Units on the
    round count in the season with the calls that their stop does not prevent left in, because a promise is better kept
    than cut fine.
    """
    prices = _prices(needs, on_hand)
    planned = _planned(stops)
    joined = planned.join(needs.filter(pl.col("p_stop") > 0), on="unit_id")
    weekly = [
        _list(
            _Use(
                "week",
                f"{truck}, week of {week}",
                rows.rename({"p_stop": "p"}),
                *_on_truck(on_hand, truck),
                truck=truck,
                week_start=week,
            ),
            prices,
            settings.service_level,
        )
        for (truck, week), rows in _groups(joined, "truck", "week_start")
    ]
    trucks = sorted(planned["truck"].unique().to_list())
    season = _season(needs, on_hand, trucks, settings, prices, (season_end - max(as_of, season_start)).days + 1)
    orders = _orders(
        joined, season, on_hand, settings, prices, as_of, season_start, max(1, _truck_count(settings, trucks))
    )
    frames = [frame for frame in [*weekly, season, orders] if frame.height]
    listed = pl.concat(frames) if frames else pl.DataFrame(schema=STOCK_LIST_SCHEMA)
    listed = _sorted(listed)
    days = [
        _day_parts(technician, date, rows, prices, settings.service_level)
        for (technician, date), rows in _groups(joined, "technician", "date")
    ]
    return StockPlan(listed, pl.concat([pl.DataFrame(schema=DAY_PARTS_SCHEMA), *days]), _notes(planned, needs))


def _planned(stops: pl.DataFrame) -> pl.DataFrame:
    return stops.select(
        "unit_id",
        "technician",
        "date",
        truck=pl.coalesce("truck", "technician").fill_null("truck"),
        week_start=pl.col("date").dt.truncate("1w"),
    ).unique(maintain_order=True)


def _groups(frame: pl.DataFrame, *by: str) -> list[tuple[tuple[object, ...], pl.DataFrame]]:
    ordered = frame.sort(*by, "unit_id", "part", "size")
    return list(ordered.partition_by(list(by), as_dict=True, maintain_order=True).items())


def _prices(needs: pl.DataFrame, on_hand: pl.DataFrame) -> dict[Capacitor, float]:
    """Return every capacitor that may be bought: the sizes asked for and their sections as singles, at the higher volts."""
    facts = stock_facts()["capacitor_price"]
    own = {
        Capacitor(row["first_uf"], row["second_uf"], row["volts"]): row["cost"]
        for row in on_hand.filter((pl.col("part") == CAPACITOR) & (pl.col("cost") > 0)).iter_rows(named=True)
    }
    labels = needs.filter(pl.col("part") == CAPACITOR).select("first_uf", "second_uf", "volts").unique()
    kinds = set()
    for first, second, volts in labels.iter_rows():
        sold = next((v for v in reversed(SOLD_VOLTS) if v >= volts), volts)
        kinds |= {Capacitor(first, second, sold)} | {Capacitor(uf, 0.0, sold) for uf in (first, second) if uf}
    listed = {
        can: (facts["dual_base"] if can.second_uf else facts["single_base"])
        + facts["per_uf"] * (can.first_uf + can.second_uf)
        for can in kinds
    }
    return listed | own


def _lying(rows: pl.DataFrame) -> tuple[dict[tuple[str, str], int], dict[Capacitor, int]]:
    by_size: dict[tuple[str, str], int] = {}
    cans: dict[Capacitor, int] = {}
    for row in rows.iter_rows(named=True):
        key = (row["part"], row["size"])
        by_size[key] = by_size.get(key, 0) + row["quantity"]
        if row["part"] == CAPACITOR:
            can = Capacitor(row["first_uf"], row["second_uf"], row["volts"])
            cans[can] = cans.get(can, 0) + row["quantity"]
    return by_size, cans


def _on_truck(on_hand: pl.DataFrame, truck: str) -> tuple[dict[tuple[str, str], int], dict[Capacitor, int]]:
    return _lying(on_hand.filter(pl.col("truck").str.to_lowercase() == truck.lower()))


def _need(row: Mapping[str, float]) -> Need:
    return Need(Capacitor(row["first_uf"], row["second_uf"], row["volts"]), row["tolerance_pct"])


def _odds(chances: pl.DataFrame) -> dict[Need, Floats]:
    """Return the distribution of the count of each capacitor asked for."""
    keys = ["first_uf", "second_uf", "volts", "tolerance_pct"]
    caps = chances.filter(pl.col("part") == CAPACITOR).sort(*keys, "unit_id")
    return {
        _need(dict(zip(keys, key, strict=True))): count_odds(rows["p"].to_numpy())  # type: ignore[arg-type]
        for key, rows in caps.partition_by(keys, as_dict=True, maintain_order=True).items()
    }


def _list(use: _Use, prices: Mapping[Capacitor, float], level: float) -> pl.DataFrame:
    """Return the rows of one list: what is to be on board."""
    rows = _capacitor_rows(use, _odds(use.chances), prices, level) + _other_rows(use, level)
    fixed = {
        "for_what": use.for_what,
        "for_which": use.for_which,
        "truck": use.truck,
        "week_start": use.week_start,
        "order_by": use.order_by,
    }
    return pl.DataFrame([row | fixed for row in rows], schema=STOCK_LIST_SCHEMA)


def _capacitor_rows(
    use: _Use, odds: Mapping[Need, Floats], prices: Mapping[Capacitor, float], level: float
) -> list[dict[str, object]]:
    if not odds:
        return []
    wanted = {kind for need in odds for kind in _bought_for(need, prices)}
    p = problem(odds, {can: prices[can] for can in wanted}, use.cans)
    found = cheapest(p, level)
    counts = _needed_only(p, found.counts)
    listed = [can for can, quantity in zip(p.kinds, counts, strict=True) if quantity]
    ways = {need: substitute(need, listed) for need in p.needs}
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
    """Return what may be bought for a need: its own size and the singles of its sections, at any voltage that serves."""
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


def _serves_for(can: Capacitor, ways: Mapping[Need, Sequence[Service]]) -> str:
    """Return what else the can serves for on this list, in words; stop-gaps only where nothing plainer serves."""
    said = []
    for need, services in ways.items():
        way = next((w for w in services if any(c == can for c, _ in w.cans)), None)
        plain = [w for w in services if not w.stop_gap]
        if need.can != can and way is not None and (not way.stop_gap or not plain):
            said.append(f"{need.can.size} ({_how(way, can)})")
    told = list(dict.fromkeys(said))
    more = [f"and {len(told) - MOST_SAID} more sizes"] if len(told) > MOST_SAID else []
    return "; ".join(told[:MOST_SAID] + more)


def _how(way: Service, can: Capacitor) -> str:
    others = [f"{c.size}" + (f" x{n}" if n > 1 else "") for c, n in way.cans if c != can]
    words = [f"with {' and '.join(others)}"] if others else []
    count = dict(way.cans)[can]
    words += [f"{count} of it"] if count > 1 else []
    if way.stop_gap:
        words.append("stop-gap, sections in parallel")
    elif way.jumper:
        words.append("commons jumpered")
    if way.unused_section:
        words.append("one section unused")
    return ", ".join(words) or "same microfarads, volts as high or higher"


def _fixings(use: _Use, p: Problem, counts: Sequence[int], covers: float) -> list[dict[str, object]]:
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
            "to_order": 0,
        }
        for part in (JUMPER, STRAP)
        if pairs
    ]


def _other_rows(use: _Use, level: float) -> list[dict[str, object]]:
    facts = stock_facts()["parts"]
    rows: list[dict[str, object]] = []
    for (part,), chances in _groups(use.chances.filter(pl.col("part") != CAPACITOR), "part"):
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
                    "cost": facts[str(part)]["price"] * max(0, quantity - have),
                    "proven": True,
                }
            )
    return rows


def _truck_count(settings: Stock, trucks: Sequence[str]) -> int:
    return settings.trucks or len(trucks) or 1


def _season(
    needs: pl.DataFrame,
    on_hand: pl.DataFrame,
    trucks: Sequence[str],
    settings: Stock,
    prices: Mapping[Capacitor, float],
    season_days: int,
) -> pl.DataFrame:
    """Return what each truck keeps on board for no-cooling calls between two loadings."""
    share = min(
        1.0, settings.peak_factor * settings.restock_days / max(1, season_days) / _truck_count(settings, trucks)
    )
    calls = needs.filter(pl.col("p_call") > 0).with_columns(p=pl.col("p_call") * share)
    if calls.is_empty():
        return pl.DataFrame(schema=STOCK_LIST_SCHEMA)
    named = list(trucks) if trucks and not settings.trucks else []
    made = _list(_Use("truck", "", calls, {}, {}), prices, settings.service_level)
    if not named:
        return made.with_columns(for_which=pl.lit("every truck"))
    listed = []
    for truck in named:
        by_size, cans = _on_truck(on_hand, truck)
        # what lies on a truck counts only against its own sizes here: a minimum is a list to keep, not to use up
        have = pl.Series([by_size.get(key, 0) for key in made.select("part", "size").iter_rows()], dtype=pl.Int64)
        del cans
        listed.append(
            made.with_columns(for_which=pl.lit(truck), truck=pl.lit(truck), on_hand=have).with_columns(
                to_order=(pl.col("quantity") - pl.col("on_hand")).clip(lower_bound=0)
            )
        )
    return pl.concat(listed)


def _orders(
    joined: pl.DataFrame,
    season: pl.DataFrame,
    on_hand: pl.DataFrame,
    settings: Stock,
    prices: Mapping[Capacitor, float],
    as_of: dt.date,
    season_start: dt.date,
    trucks: int,
) -> pl.DataFrame:
    """Return what to order for the round as a whole, and then for the season's trucks."""
    by_size, cans = _lying(on_hand)
    frames = []
    left = dict(by_size)
    if joined.height:
        first = joined["date"].min()
        assert isinstance(first, dt.date)
        due = max(as_of + dt.timedelta(days=1), first - dt.timedelta(days=settings.lead_days))
        use = _Use(
            "order", f"spring round, order by {due}", joined.rename({"p_stop": "p"}), by_size, cans, order_by=due
        )
        made = _list(use, prices, settings.service_level)
        for part, size, quantity in made.select("part", "size", "quantity").iter_rows():
            left[(part, size)] = max(0, left.get((part, size), 0) - quantity)
        frames.append(made)
    if season.height:
        due = max(as_of + dt.timedelta(days=1), season_start - dt.timedelta(days=settings.lead_days))
        one = season.filter(pl.col("for_which") == season["for_which"][0])
        keys = list(one.select("part", "size").iter_rows())
        have = pl.Series([left.get(key, 0) for key in keys], dtype=pl.Int64)
        frames.append(
            one.with_columns(
                for_what=pl.lit("order"),
                for_which=pl.lit(f"season's trucks, order by {due}"),
                truck=pl.lit(None, pl.String),
                order_by=pl.lit(due),
                quantity=pl.col("quantity") * trucks,
                on_hand=have,
            ).with_columns(to_order=(pl.col("quantity") - pl.col("on_hand")).clip(lower_bound=0))
        )
    if not frames:
        return pl.DataFrame(schema=STOCK_LIST_SCHEMA)
    price = {(CAPACITOR, can.size): value for can, value in prices.items()}
    price |= {(part, ""): float(spec["price"]) for part, spec in stock_facts()["parts"].items()}
    ordered = pl.concat(frames).filter(pl.col("to_order") > 0).with_columns(quantity=pl.col("to_order"))
    each = pl.Series([price.get(key, 0.0) for key in ordered.select("part", "size").iter_rows()], dtype=pl.Float64)
    earlier = {
        (row["part"], row["size"]): row["lead_days"]
        for row in on_hand.filter(pl.col("lead_days").is_not_null()).iter_rows(named=True)
    }
    wait = pl.Series(
        [
            earlier.get(key, settings.lead_days) - settings.lead_days
            for key in ordered.select("part", "size").iter_rows()
        ],
        dtype=pl.Int64,
    )
    moved = (pl.col("order_by") - pl.duration(days=wait)).cast(pl.Date)
    return ordered.with_columns(
        cost=pl.col("quantity") * each,
        order_by=pl.max_horizontal(moved, pl.lit(as_of + dt.timedelta(days=1))),
    )


def _day_parts(
    technician: object, date: object, rows: pl.DataFrame, prices: Mapping[Capacitor, float], level: float
) -> pl.DataFrame:
    """Return what one day is likely to use: each size and part by itself, at the same level."""
    del prices
    out = []
    for (part, size), chances in _groups(rows, "part", "size"):
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


_ORDER = {"week": 0, "truck": 1, "order": 2}
_PART_ORDER = {CAPACITOR: 0, JUMPER: 8, STRAP: 9}


def _sorted(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.sort(
        pl.col("for_what").replace_strict(_ORDER, return_dtype=pl.Int64),
        "week_start",
        "for_which",
        pl.col("part").replace_strict(_PART_ORDER, default=4, return_dtype=pl.Int64),
        "part",
        pl.col("size").str.extract(r"^([\d.]+)").cast(pl.Float64, strict=False),
        "size",
    )


def _notes(planned: pl.DataFrame, needs: pl.DataFrame) -> tuple[str, ...]:
    sized = needs.filter((pl.col("part") == CAPACITOR) & (pl.col("p_stop") > 0))
    unread = planned.join(sized, on="unit_id", how="anti")["unit_id"].n_unique()
    if not unread:
        return ()
    return (
        f"{unread} planned stops have no capacitor rating on file: ask for a photo of the label when the visit is booked. "
        "[rating-unknown]",
    )
