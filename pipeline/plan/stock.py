"""What every truck carries for its weeks and for the season, and what is ordered when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import polars as pl

from pipeline.config import Stock
from pipeline.plan.parts_demand import CAPACITOR
from pipeline.plan.prices import Prices, part_prices
from pipeline.plan.stock_rows import (
    DAY_PARTS_SCHEMA,
    JUMPER,
    STOCK_LIST_SCHEMA,
    STRAP,
    Use,
    day_rows,
    groups,
    stock_rows,
)
from pipeline.plan.substitution import Capacitor
from pipeline.workmate import Each, alone


@dataclass(frozen=True)
class StockPlan:
    """The stock list, the parts of each technician-day, and sentences on what is not known."""

    stock_list: pl.DataFrame
    day_parts: pl.DataFrame
    notes: tuple[str, ...]


def plan_stock(
    needs: pl.DataFrame,
    stops: pl.DataFrame,
    on_hand: pl.DataFrame,
    settings: Stock,
    paid: pl.DataFrame,
    *,
    as_of: dt.date,
    season_start: dt.date,
    season_end: dt.date,
    each: Each = alone,
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
    paid
        ``PAID_SCHEMA``.
    as_of, season_start, season_end
        An order is due its lead days before the round or the season begins, never before the day after as_of.
    each
        Has the weekly lists made: those of a truck with nothing on it one by one, else truck by truck.

    Notes
    -----
    Planned stops: each unit's needs are independent events, their number is Poisson-binomial. Season: every unit's
    chance of a call, spread evenly over the season's days and the trucks and raised by the peak factor. Units on the
    round count in the season with the calls that their stop does not prevent left in, because a promise is better kept
    than cut fine. What lies on a truck serves once: its weeks take from it in their order, and the season's minimum
    counts what they leave.
    """
    prices = part_prices(needs, on_hand, paid)
    planned = _planned(stops)
    joined = planned.join(needs.filter(pl.col("p_stop") > 0), on="unit_id")
    turns = _turns(joined, on_hand)
    made = each(partial(_in_turn, prices=prices, level=settings.service_level), turns)
    weekly = [frame for frame, _ in made]
    trucks = sorted(planned["truck"].unique().to_list())
    spare = {truck: _on_truck(on_hand, truck)[0] for truck in trucks}
    spare |= {turn[0].truck: left for turn, (_, left) in zip(turns, made, strict=True) if turn[0].on_hand}
    season = _season(needs, spare, trucks, settings, prices, (season_end - max(as_of, season_start)).days + 1)
    orders = _orders(
        joined, season, on_hand, settings, prices, as_of, season_start, max(1, _truck_count(settings, trucks))
    )
    frames = [frame for frame in [*weekly, season, orders] if frame.height]
    listed = pl.concat(frames) if frames else pl.DataFrame(schema=STOCK_LIST_SCHEMA)
    listed = _sorted(listed)
    days = [
        day_rows(technician, date, rows, settings.service_level)
        for (technician, date), rows in groups(joined, "technician", "date")
    ]
    return StockPlan(listed, pl.concat([pl.DataFrame(schema=DAY_PARTS_SCHEMA), *days]), _notes(planned, needs))


def _planned(stops: pl.DataFrame) -> pl.DataFrame:
    return stops.select(
        "unit_id",
        "technician",
        "date",
        truck=pl.coalesce(pl.col("truck").replace("", None), "technician").fill_null("truck"),
        week_start=pl.col("date").dt.truncate("1w"),
    ).unique(maintain_order=True)


Turn = tuple[Use, ...]
"""Lists that take from one store in their order."""


def _turns(joined: pl.DataFrame, on_hand: pl.DataFrame) -> list[Turn]:
    """Return the weekly lists: those of one truck together where something lies on it, else each by itself."""
    turns: dict[object, list[Use]] = {}
    for (truck, week), rows in groups(joined, "truck", "week_start"):
        by_size, cans = _on_truck(on_hand, truck)
        use = Use(
            "week",
            f"{truck}, week of {week}",
            rows.rename({"p_stop": "p"}),
            by_size,
            cans,
            truck=truck,
            week_start=week,
        )
        turns.setdefault(truck if by_size else (truck, week), []).append(use)
    return [tuple(uses) for uses in turns.values()]


def _in_turn(turn: Turn, prices: Prices, level: float) -> tuple[pl.DataFrame, dict[tuple[str, str], int]]:
    """Return the rows of the lists, each with what the ones before it left, and what the last one leaves."""
    left, frames = turn[0], []
    for use in turn:
        now = replace(use, on_hand=left.on_hand, cans=left.cans)
        rows = stock_rows(now, prices, level)
        frames.append(rows)
        left = _without(now, rows)
    return pl.concat(frames), dict(left.on_hand)


def _without(use: Use, rows: pl.DataFrame) -> Use:
    """Return the use less what a list takes from the store."""
    taken = dict(zip(rows.select("part", "size").iter_rows(), rows["quantity"], strict=True))
    by_size = {key: max(0, n - taken.get(key, 0)) for key, n in use.on_hand.items()}
    cans = {can: by_size[(CAPACITOR, can.size)] for can in use.cans}
    return replace(use, on_hand=by_size, cans=cans)


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


def _truck_count(settings: Stock, trucks: Sequence[str]) -> int:
    return settings.trucks or len(trucks) or 1


def _season(
    needs: pl.DataFrame,
    spare: Mapping[str | None, Mapping[tuple[str, str], int]],
    trucks: Sequence[str],
    settings: Stock,
    prices: Prices,
    season_days: int,
) -> pl.DataFrame:
    """Return what each truck keeps on board for no-cooling calls between two loadings.

    ``spare`` is what the round leaves on a truck. It counts only against its own sizes here: a minimum is a list to
    keep, not to use up.
    """
    share = min(
        1.0, settings.peak_factor * settings.restock_days / max(1, season_days) / _truck_count(settings, trucks)
    )
    calls = needs.filter(pl.col("p_call") > 0).with_columns(p=pl.col("p_call") * share)
    if calls.is_empty():
        return pl.DataFrame(schema=STOCK_LIST_SCHEMA)
    named = list(trucks) if trucks and not settings.trucks else []
    made = stock_rows(Use("truck", "", calls, {}, {}), prices, settings.service_level)
    if not named:
        return made.with_columns(for_which=pl.lit("every truck"))
    listed = []
    for truck in named:
        lying = spare[truck]
        have = pl.Series([lying.get(key, 0) for key in made.select("part", "size").iter_rows()], dtype=pl.Int64)
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
    prices: Prices,
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
        use = Use("order", f"spring round, order by {due}", joined.rename({"p_stop": "p"}), by_size, cans, order_by=due)
        made = stock_rows(use, prices, settings.service_level)
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
                for_which=pl.lit(f"trucks in season, order by {due}"),
                truck=pl.lit(None, pl.String),
                order_by=pl.lit(due),
                quantity=pl.col("quantity") * trucks,
                on_hand=have,
            ).with_columns(to_order=(pl.col("quantity") - pl.col("on_hand")).clip(lower_bound=0))
        )
    if not frames:
        return pl.DataFrame(schema=STOCK_LIST_SCHEMA)
    price = {(CAPACITOR, can.size): value for can, value in prices.cans.items()}
    price |= {(part, ""): value for part, value in prices.parts.items()}
    ordered = pl.concat(frames).filter(pl.col("to_order") > 0).with_columns(quantity=pl.col("to_order"))
    costs = pl.Series([price.get(key, 0.0) for key in ordered.select("part", "size").iter_rows()], dtype=pl.Float64)
    earlier = {
        (row["part"], row["size"]): row["lead_days"]
        for row in on_hand.filter(pl.col("lead_days").is_not_null()).iter_rows(named=True)
    }
    ordered_keys = ordered.select("part", "size").iter_rows()
    later = [earlier.get(key, settings.lead_days) - settings.lead_days for key in ordered_keys]
    moved = (pl.col("order_by") - pl.duration(days="later")).cast(pl.Date)
    return (
        ordered.with_columns(pl.Series("later", later, dtype=pl.Int64))
        .with_columns(
            cost=pl.col("quantity") * costs,
            order_by=pl.max_horizontal(moved, pl.lit(as_of + dt.timedelta(days=1))),
        )
        .drop("later")
    )


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
        f"{unread} planned stops have no capacitor rating on file: ask for a photo of the label when booking. "
        "[rating-unknown]",
    )
