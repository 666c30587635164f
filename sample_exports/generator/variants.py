"""The same shop exported in poorer forms, on demand: for tests that compare them cell by cell with the tidy form.

None is committed. Each function takes the clean tables of ``simulate`` and returns files by name, without mess.
"""

from __future__ import annotations

import polars as pl

from sample_exports.generator.mess import Row
from sample_exports.generator.poor import ITEM_TEXT, size_text
from sample_exports.generator.styles import VISIT_FIELDS, WORDY, Style, plain
from sample_exports.generator.visits import NUMBERS
from sample_exports.generator.write import render, to_rows

Tables = dict[str, pl.DataFrame]
Files = dict[str, bytes]
TICKET_FIELDS = ("visit_id", "visit_date", "technician", "visit_type", "invoice_total")
READINGS = tuple(name for name in NUMBERS if not name.startswith("true_"))


def tidy(tables: Tables) -> Files:
    """Return one file per table under canonical headers."""
    return {f"{name}.csv": _file(tables[name]) for name in ("visits", "units", "sites", "parts", "recommendations")}


def line_items(tables: Tables) -> Files:
    """Return visits and parts as one file: a row per line of the invoice, each with all of its ticket's cells.

    The first line of a visit is the labor; refrigerant counts pounds, as invoices do. Parts have no file of their own.
    """
    fitted = tables["parts"].partition_by("visit_id", "unit_id", as_dict=True)
    refrigerant = dict(tables["units"].select("unit_id", "refrigerant").iter_rows())
    rows = []
    for row in to_rows(tables["visits"]):
        visit, unit = row.values["visit_id"], row.values["unit_id"]
        parts = fitted.get((visit, unit))
        lines = [("Labor", 1.0, 129.0)]
        lines += (
            [] if parts is None else [_line(part, refrigerant.get(str(unit))) for part in parts.iter_rows(named=True)]
        )
        rows += [
            Row(row.values | {"item": item, "quantity": quantity, "price": price}) for item, quantity, price in lines
        ]
    headers = {name: name for name in tables["visits"].columns} | {"item": "Item", "quantity": "Qty", "price": "Price"}
    content, _ = render(rows, Style(headers), "line_items.csv")
    return {"line_items.csv": content, "units.csv": _file(tables["units"]), "sites.csv": _file(tables["sites"])}


def _line(part: dict[str, object], refrigerant: str | None) -> tuple[str, float, float]:
    quantity, price = float(part["quantity"] or 1.0), float(part["price"] or 0.0)  # type: ignore[arg-type]
    if part["part"] == "refrigerant":
        pounds = quantity / 16.0
        return f"{refrigerant or 'R-410A'} refrigerant, lb", pounds, round(price / pounds, 2)
    sizes = [part[f"cap_{section}_uf"] for section in ("herm", "fan", "blower")]
    return ITEM_TEXT[str(part["part"])].format(size=size_text(sizes)).strip(), quantity, price


def two_units(tables: Tables) -> Files:
    """Return visits with one row per ticket and columns for each of two units; a third unit begins a row again."""
    own = [name for name in VISIT_FIELDS if name not in TICKET_FIELDS and name in tables["visits"].columns]
    headers = {name: WORDY[name] for name in TICKET_FIELDS if name in tables["visits"].columns}
    for number in (1, 2):
        headers |= {f"{name}#{number}": _numbered(WORDY[name], number) for name in own}
    rows: list[Row] = []
    for row in to_rows(tables["visits"].sort("visit_id", "unit_id")):
        values = row.values
        last = rows[-1].values if rows else {}
        second = last.get("visit_id") == values["visit_id"] and "unit_id#2" not in last
        if second:
            total = float(last["invoice_total"] or 0.0) + float(values["invoice_total"] or 0.0)  # type: ignore[arg-type]
            rows[-1].values |= {f"{name}#2": values[name] for name in own} | {"invoice_total": round(total, 2)}
        else:
            shared = {name: values[name] for name in TICKET_FIELDS}
            rows.append(Row(shared | {f"{name}#1": values[name] for name in own}))
    content, _ = render(rows, Style(headers), "tickets.csv")
    rest = {f"{name}.csv": _file(tables[name]) for name in ("units", "sites", "parts")}
    return {"tickets.csv": content} | rest


def _numbered(header: str, number: int) -> str:
    return f"Unit {number} {header.removeprefix('Unit ')}"


def zero_filled(tables: Tables) -> Files:
    """Return the tidy files with 0 in every reading column of visits where nothing was read."""
    filled = tables["visits"].with_columns(pl.col(READINGS).fill_null(0.0))
    return tidy(tables) | {"visits.csv": _file(filled)}


def _file(frame: pl.DataFrame) -> bytes:
    content, _ = render(to_rows(frame), plain(tuple(frame.columns)), "")
    return content
