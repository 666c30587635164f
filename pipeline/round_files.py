"""The round as files: routes, stock, calls, blank sheets that come back as visits, and calendars."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping

import polars as pl

from pipeline.checks.visit_sheet import KEYS, READINGS, planned_visit_id
from pipeline.plan.calendar import calendars
from pipeline.plan.stock_file import COLUMNS as STOCK_COLUMNS
from reports.format import file_stem
from reports.site import private_columns

Query = Callable[[str, Mapping[str, object]], pl.DataFrame]
Cell = Callable[[object], object]
ROUTE_COLUMNS = (
    "technician",
    "truck",
    "date",
    "stop",
    "unit_id",
    "arrive",
    "service_minutes",
    "drive_minutes",
    "status",
    "work",
    "reasons",
    "value",
    "customer_name",
    "phone",
    "address",
    "city",
    "postal_code",
    "unit_location",
    "access_notes",
)
STOCK_LIST_COLUMNS = (
    "for_what",
    "for_which",
    "part",
    "size",
    "quantity",
    "covers_pct",
    "substitutes",
    "expected",
    "on_hand",
    "to_order",
    "order_by",
    "cost",
    "size_covers_pct",
)
CALL_COLUMNS = (
    "unit_id",
    "status",
    "customer_name",
    "phone",
    "address",
    "city",
    "why",
    "near",
    "date",
    "arrive",
    "technician",
    "agreement",
    "value",
)


def round_files(ask: Query, cell: Cell, *, no_names: bool) -> Iterator[tuple[str, bytes]]:
    """Yield path below ``lists`` and content of every file of the round.

    Parameters
    ----------
    ask
        Answers page queries; where names are left out, private columns are empty and technicians numbered already.
    cell
        Makes a value safe in a spreadsheet.
    no_names
        Leave out private columns and trucks that may be called after who drives them.
    """
    stops, stock = ask("spring_round_stops", {}), ask("spring_round_stock", {})
    if no_names:
        stops, stock = stops.with_columns(truck=pl.lit(None, pl.String)), _nameless_trucks(stock)
    yield "routes.csv", _text(stops, ROUTE_COLUMNS, cell, no_names)
    yield "stock.csv", _text(stock, STOCK_LIST_COLUMNS, cell, no_names)
    yield "calls.csv", _text(ask("calls", {}), CALL_COLUMNS, cell, no_names)
    yield (
        "visits_to_fill_in.csv",
        _text(_to_fill_in(stops), (*KEYS, *READINGS), cell, False),
    )
    yield "stock_to_count.csv", _text(_to_count(stock), STOCK_COLUMNS, cell, False)
    as_of = ask("site", {})["as_of"][0]
    if stops.height and as_of is not None:
        places = stops.select("unit_id", "customer_name", "address", "city", "phone")
        for technician, content in calendars(stops, places, as_of, no_names=no_names).items():
            yield f"calendar/{file_stem(technician, readable=not no_names)}.ics", content


def _nameless_trucks(stock: pl.DataFrame) -> pl.DataFrame:
    """Return the list with trucks by number: a truck may be called after who drives it."""
    truck = pl.col("truck")
    shown = pl.format("Truck {}", truck.rank("dense"))
    which = (
        pl.when(pl.col("week_start").is_null()).then(shown).otherwise(pl.format("{}, week of {}", shown, "week_start"))
    )
    return stock.with_columns(
        for_which=pl.when(truck.is_null()).then("for_which").otherwise(which),
        truck=pl.when(truck.is_not_null()).then(shown),
    )


def _to_fill_in(stops: pl.DataFrame) -> pl.DataFrame:
    """Return one row per planned stop with its keys filled in and every reading blank: next month's import."""
    keys = stops.select(
        "unit_id",
        visit_id=planned_visit_id(pl.col("date"), pl.col("unit_id")),
        visit_date="date",
        technician="technician",
    )
    return keys.with_columns(pl.lit(None).alias(name) for name in READINGS)


def _to_count(stock: pl.DataFrame) -> pl.DataFrame:
    """Return one row per truck, part and size on a list, to be counted, and saved as stock.csv in the shop folder."""
    rows = stock.filter(pl.col("truck").is_not_null() & ~pl.col("part").is_in(["jumper_wire", "mounting_strap"]))
    return (
        rows.select("truck", "part", "size")
        .unique(maintain_order=True)
        .sort("truck", "part", "size")
        .with_columns(pl.lit(None).alias(name) for name in ("quantity", "cost", "lead_days"))
    )


def _text(frame: pl.DataFrame, columns: Iterable[str], cell: Cell, no_names: bool) -> bytes:
    kept = [name for name in columns if not (no_names and name in private_columns())]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(kept)
    for row in frame.select(kept).iter_rows():
        writer.writerow([cell(value) for value in row])
    return out.getvalue().encode("utf-8", "replace")
