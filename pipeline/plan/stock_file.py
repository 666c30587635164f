"""The user's ``stock.csv``: what lies on which truck."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.checks.formulas import unguarded
from pipeline.errors import cut
from pipeline.plan.parts_demand import CAPACITOR, stock_facts
from pipeline.plan.substitution import parse_size

STOCK_FILE = "stock.csv"
COLUMNS = ("truck", "part", "size", "quantity", "cost", "lead_days")
ON_HAND_SCHEMA = pl.Schema(
    {
        "truck": pl.String(),
        "part": pl.String(),
        "size": pl.String(),
        "first_uf": pl.Float64(),
        "second_uf": pl.Float64(),
        "volts": pl.Float64(),
        "quantity": pl.Int64(),
        "cost": pl.Float64(),
        "lead_days": pl.Int64(),
    }
)
SHELF = "shelf"
"""Truck name of what lies in the shop and may be loaded on any truck."""
_HEADERS = {
    "vehicle": "truck",
    "van": "truck",
    "technician": "truck",
    "item": "part",
    "rating": "size",
    "qty": "quantity",
    "count": "quantity",
    "on_hand": "quantity",
    "price": "cost",
    "lead_time_days": "lead_days",
    "volts": "volts",
    "voltage": "volts",
}
_PARTS = {"capacitor": CAPACITOR, "cap": CAPACITOR, "run_cap": CAPACITOR, "dual_run_capacitor": CAPACITOR}


@dataclass(frozen=True)
class OnHand:
    """What the file says (``ON_HAND_SCHEMA``) and a sentence for every line that could not be used."""

    frame: pl.DataFrame
    said: tuple[str, ...]


def nothing_on_hand() -> OnHand:
    """Return a stock of nothing, as without a file."""
    return OnHand(pl.DataFrame(schema=ON_HAND_SCHEMA), ())


def read_stock(text: str, name: str = STOCK_FILE) -> OnHand:
    """Return the stock that a CSV names.

    Parameters
    ----------
    text
        Header truck, part, size, quantity and, if wanted, volts, cost and lead_days; comma, semicolon or tab. A row
        without a truck, or with ``shelf``, lies in the shop. A size is written as on the label: ``45+5 440V``.
    name
        File name for the sentences.

    Notes
    -----
    A line that cannot be read is named and left out; the others count. Rows of the same truck, part and size add.
    """
    lines = text.lstrip("\ufeff").splitlines(keepends=True)
    head = next((line for line in lines if line.strip()), "")
    if not head:
        return nothing_on_hand()
    delimiter = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO("".join(lines)), delimiter=delimiter)
    header: Sequence[str] | None = None
    rows, said = [], []
    for cells in reader:
        if not any(cell.strip() for cell in cells):
            continue
        if header is None:
            header = [_column(cell) for cell in cells]
            missing = [column for column in ("part", "quantity") if column not in header]
            if missing:
                return OnHand(
                    nothing_on_hand().frame,
                    (
                        f"{name} line {reader.line_num} has no column {' and '.join(missing)}: "
                        f"write {', '.join(COLUMNS)} above the columns; the stock is taken as none. [stock-header]",
                    ),
                )
            continue
        row = _row(dict(zip(header, (cell.strip() for cell in cells), strict=False)))
        if isinstance(row, str):
            said.append(f"{name} line {reader.line_num}, {row}; the line was left out. [stock-line]")
        elif row["quantity"] or row["cost"] is not None or row["lead_days"] is not None:
            rows.append(row)
    return OnHand(_added(rows), tuple(said))


def _column(cell: str) -> str:
    word = re.sub(r"[^a-z]+", "_", cell.strip().lower()).strip("_")
    return _HEADERS.get(word, word)


def _row(cells: dict[str, str]) -> dict[str, object] | str:
    part = re.sub(r"[^a-z]+", "_", cells.get("part", "").lower()).strip("_")
    part = _PARTS.get(part, part)
    if part not in {CAPACITOR, *stock_facts()["parts"]}:
        return f'column "part": {cut(cells.get("part", ""))!r} is not a part that is planned for'
    quantity = _number(cells.get("quantity", "") or "0")
    if quantity is None or quantity < 0 or quantity != int(quantity):
        return f'column "quantity": {cut(cells["quantity"])!r} is not a whole number of 0 or more'
    size, capacitor = cells.get("size", ""), None
    if part == CAPACITOR:
        capacitor = parse_size(size, _number(re.sub(r"[^0-9.]", "", cells.get("volts", "")) or "x"), 370.0)
        if capacitor is None:
            return f'column "size": {cut(size)!r} is not a size such as 45+5 440V'
        size = capacitor.size
    return {
        "truck": unguarded(cells.get("truck", "")) or SHELF,
        "part": part,
        "size": size if capacitor else "",
        "first_uf": capacitor.first_uf if capacitor else None,
        "second_uf": capacitor.second_uf if capacitor else None,
        "volts": capacitor.volts if capacitor else None,
        "quantity": int(quantity),
        "cost": _number(cells.get("cost", "")),
        "lead_days": None if (days := _number(cells.get("lead_days", ""))) is None else int(days),
    }


def _number(text: str) -> float | None:
    plain = text.replace("'", "").strip()
    if re.fullmatch(r"\d{1,9}(?:[.,]\d{1,4})?", plain) is None:
        return None
    return float(plain.replace(",", "."))


def _added(rows: Iterable[dict[str, object]]) -> pl.DataFrame:
    frame = pl.DataFrame(list(rows), schema=ON_HAND_SCHEMA)
    key = ["truck", "part", "size", "first_uf", "second_uf", "volts"]
    return (
        frame.group_by(key, maintain_order=True)
        .agg(pl.col("quantity").sum(), pl.col("cost", "lead_days").drop_nulls().last())
        .select(ON_HAND_SCHEMA.names())
        .sort("truck", "part", "size")
    )
