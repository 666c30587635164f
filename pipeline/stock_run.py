"""Parts and calls of the round between the store and the shop folder."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import duckdb
import polars as pl

from pipeline.config import Settings
from pipeline.plan.call_list import STATUSES, call_list
from pipeline.plan.parts_demand import parts_demand
from pipeline.plan.prices import PAID_SCHEMA
from pipeline.plan.stock import StockPlan, plan_stock
from pipeline.plan.stock_file import STOCK_FILE, OnHand, nothing_on_hand, read_stock
from pipeline.store.derived import replace_rows
from pipeline.store.query import query
from pipeline.workmate import Each, alone


def write_stock(
    con: duckdb.DuckDBPyConnection,
    shop: Path,
    as_of: dt.date,
    settings: Settings,
    said: pl.DataFrame,
    *,
    say: Callable[[str], None],
    each: Each = alone,
) -> StockPlan:
    """Plan the parts of the round that is stored, rewrite stock list, day parts and call list.

    Parameters
    ----------
    said
        unit_id and status of ``appointments.csv`` as text.
    say
        Takes a sentence for each line of ``stock.csv`` that is not used, and for what is not known.
    """
    risk = query(con, "unit_risk")
    stops = query(con, "core.route_stops")
    lying = _on_hand(shop / STOCK_FILE)
    needs = parts_demand(query(con, "plan_sections"), query(con, "plan_causes"), query(con, "plan_part_findings"))
    start, end = (risk[name].max() if risk.height else None for name in ("season_start", "season_end"))
    found = plan_stock(
        needs,
        stops,
        lying.frame,
        settings.stock,
        query(con, "plan_part_costs").cast(PAID_SCHEMA),
        as_of=as_of,
        season_start=start if isinstance(start, dt.date) else as_of,
        season_end=end if isinstance(end, dt.date) else as_of,
        each=each,
    )
    replace_rows(con, "stock_list", found.stock_list, None)
    replace_rows(con, "day_parts", found.day_parts, None)
    places = query(con, "plan_places").select("unit_id", "lat", "lon")
    left = query(con, "core.plan_left_out").join(
        risk.select("unit_id", reasons="leading_reason"), on="unit_id", how="left"
    )
    replace_rows(con, "call_list", call_list(stops, left, places, _answers(said)), None)
    for sentence in (*lying.said, *found.notes):
        say(sentence)
    return found


def _answers(said: pl.DataFrame) -> pl.DataFrame:
    """Return unit_id and status (a blank one is booked) of the appointments as typed."""
    status = pl.col("status").fill_null("").str.strip_chars().str.to_lowercase().str.replace_all(" ", "_")
    return said.select(
        pl.col("unit_id").str.strip_chars(), status=pl.when(status == "").then(pl.lit("booked")).otherwise(status)
    ).filter(pl.col("status").is_in(STATUSES))


def _on_hand(path: Path) -> OnHand:
    """Return what the file says; a file that cannot be read is said, and counts as none."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return nothing_on_hand()
    except OSError as error:
        why = error.strerror or type(error).__name__
        return OnHand(
            nothing_on_hand().frame,
            (f"{path.name} cannot be read ({why}): free it and plan again; the stock is taken as none. [stock-file]",),
        )
    try:
        text = content.decode("utf-16" if content[:2] in {b"\xff\xfe", b"\xfe\xff"} else "utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("cp1252", "replace")
    if "\x00" in text:
        return OnHand(
            nothing_on_hand().frame,
            (f"{path.name} is not text: save it as CSV; the stock is taken as none. [stock-file]",),
        )
    return read_stock(text, path.name)
