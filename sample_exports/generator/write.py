"""Frames to files: the rich shop's folder, with its mess, and the truth about that mess beside it."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import polars as pl

from sample_exports.generator.mess import Row, corrected_later, soil
from sample_exports.generator.notes import add_notes
from sample_exports.generator.styles import (
    LONG_MEASURES,
    LONG_YEAR,
    MEASURE_UNITS,
    VISIT_FIELDS,
    VISIT_STYLES,
    Style,
    Value,
    plain,
)

FAULT_HEADER = ("file", "line", "scope", "kind", "column")
Fault = tuple[str, int, str, str, str]


def render(rows: list[Row], style: Style, name: str) -> tuple[bytes, list[Fault]]:
    """Return the bytes of one file and the faults in it with their first physical line."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=style.delimiter, lineterminator=style.newline)
    faults: list[Fault] = []
    for line in style.above:
        out.write(line + style.newline)
    writer.writerow(style.headers.values())
    if style.units_line:
        writer.writerow([style.units_line.get(f, "") for f in style.headers])
    lines = out.getvalue().count("\n")
    for row in rows:
        cells = [row.typed.get(f, style.text(f, row.values.get(f))) for f in style.headers]
        before = out.tell()
        writer.writerow([*cells, *row.extra])
        if row.kind:
            faults.append((name, lines + 1, row.scope, row.kind, row.column))
        lines += out.getvalue()[before:].count("\n") if any("\n" in c for c in cells) else 1
    if style.totals:
        total = sum(float(r.values["invoice_total"] or 0.0) for r in rows)  # type: ignore[arg-type]
        writer.writerow(
            [
                "Total" if n == 0 else style.text(f, round(total, 2)) if f == "invoice_total" else ""
                for n, f in enumerate(style.headers)
            ]
        )
    return out.getvalue().encode(style.encoding), faults


def to_rows(frame: pl.DataFrame) -> list[Row]:
    """Return one row per record; numbers are floats, dates dates, blanks None."""

    def value(raw: object) -> Value:
        return float(raw) if isinstance(raw, int | float) else raw  # type: ignore[return-value]

    return [Row({name: value(raw) for name, raw in record.items()}) for record in frame.iter_rows(named=True)]


def rich_shop(tables: dict[str, pl.DataFrame], seed: int) -> tuple[dict[str, bytes], list[Fault]]:
    """Return the files of the rich shop by name, and every fault put into them."""
    rng = np.random.default_rng([seed, 21])
    files: dict[str, bytes] = {}
    faults: list[Fault] = []

    def write(name: str, rows: list[Row], style: Style) -> None:
        files[name], found = render(rows, style, name)
        faults.extend(found)

    visits = add_notes(rng, tables["visits"]).select(VISIT_FIELDS)
    year = pl.col("visit_date").dt.year()
    start = 0
    for number, style in VISIT_STYLES.items():
        rows = to_rows(visits.filter(year == number))
        if not rows:
            continue
        corrections = corrected_later(rng, rows, 14) if number == 2025 else []
        rows = soil(rng, rows, style, 0.017, start, twins=number % 2 == 0)
        start += 6
        write(f"visits_{number}.csv", rows, style)
        if corrections:
            write("visits_2025_corrections.csv", corrections, style)
        if number == LONG_YEAR:
            write(
                f"readings_{number}.csv", _long(rng, rows), plain(("visit_id", "unit_id", "measure", "value", "unit"))
            )
    for name in ("units", "sites", "parts", "recommendations"):
        rows = _soil_small(rng, to_rows(tables[name]), name)
        write(f"{name}.csv", rows, plain(tuple(tables[name].columns)))
    return files, faults


def _long(rng: np.random.Generator, rows: list[Row]) -> list[Row]:
    """Return the long form of the readings that the year's probe set kept, each with its unit; a few are no numbers."""
    out = []
    for row in rows:
        if row.scope in {"row", "repeat"} or row.kind:
            continue
        for measure in LONG_MEASURES:
            value = row.values[measure]
            if value is not None:
                key = {name: row.values[name] for name in ("visit_id", "unit_id")}
                out.append(Row(key | {"measure": measure, "value": value, "unit": MEASURE_UNITS[measure]}))
    for at in rng.choice(len(out), 4, replace=False):
        out[at].typed["value"], out[at].kind, out[at].scope, out[at].column = "err", "no_reading", "row", "value"
    return out


def _soil_small(rng: np.random.Generator, rows: list[Row], table: str) -> list[Row]:
    """Spoil a few rows of the smaller tables."""
    column, text, kind, scope = {
        "units": ("nominal_tons", "three and a half", "not_a_number", "value"),
        "sites": ("lat", "927.6", "out_of_range", "value"),
        "parts": ("part", "widget", "unknown_word", "row"),
        "recommendations": ("decision", "ring back", "unknown_word", "value"),
    }[table]
    for at in rng.choice(len(rows), 3, replace=False):
        rows[at].typed[column], rows[at].kind, rows[at].scope, rows[at].column = text, kind, scope, column
    return rows


def faults_csv(faults: list[Fault]) -> bytes:
    """Return the truth about the mess as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(FAULT_HEADER)
    writer.writerows(faults)
    return out.getvalue().encode()


def save(folder: Path, files: dict[str, bytes]) -> None:
    """Write the files into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
