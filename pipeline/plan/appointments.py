"""What was promised: the shop's appointments, row by row, with a sentence for each that cannot be used."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Mapping

import polars as pl

from pipeline.checks.formulas import unguarded
from pipeline.errors import cut
from pipeline.plan.technicians import Window

APPOINTMENTS_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String(),
        "date": pl.Date(),
        "opens": pl.Int64(),
        "closes": pl.Int64(),
        "technician": pl.String(),
        "status": pl.String(),
        "source_line": pl.Int64(),
    }
)
"""One row per unit; ``opens`` and ``closes`` are minutes after midnight, null for the whole shift."""

COLUMNS = ("unit_id", "date", "from", "to", "technician", "status")
STATUSES = ("booked", "declined", "no_answer")
CLOCK = re.compile(r"(\d{1,2})(?:[:.h](\d{2}))?(?::\d{2})?\s*([ap])?\.?m?\.?", re.IGNORECASE)
DATE_FORMATS = ("%Y-%m-%d", "%m/%d/%Y", "%m/%d/%y", "%d.%m.%Y")
"""As this program writes dates, and as spreadsheets of the two conventions save them again."""


def read_appointments(
    table: pl.DataFrame, units: Collection[str], technicians: Collection[str], window: Window, as_of: dt.date, file: str
) -> tuple[pl.DataFrame, list[str]]:
    """Return the appointments that count (``APPOINTMENTS_SCHEMA``) and a sentence per row that does not.

    Parameters
    ----------
    table
        ``COLUMNS`` as text, those that the file has, and source_line.
    units
        Units under care.
    technicians
        Names in the settings; another name keeps the appointment and frees who goes.
    window
        A booked day outside of it stays booked and is not part of this round.
    as_of
        A day on or before it is past.
    """
    rows: dict[str, dict[str, object]] = {}
    notes: list[str] = []
    for cells in table.iter_rows(named=True):
        row, said = _row(cells, units, technicians, window, as_of)
        notes += [f"{file} line {cells['source_line']}, {sentence} [appointment]" for sentence in said]
        if row is None:
            continue
        unit = str(row["unit_id"])
        if unit in rows:
            notes.append(
                f"{file} line {cells['source_line']}, unit {cut(unit)} is on line {rows[unit]['source_line']} too; "
                "the later line counts. [appointment]"
            )
        rows[unit] = row
    return pl.DataFrame(list(rows.values()), schema=APPOINTMENTS_SCHEMA), notes


def _row(
    cells: Mapping[str, object],
    units: Collection[str],
    technicians: Collection[str],
    window: Window,
    as_of: dt.date,
) -> tuple[dict[str, object] | None, list[str]]:
    text = {name: str(cells.get(name) or "").strip() for name in COLUMNS}
    said: list[str] = []
    unit = text["unit_id"] if text["unit_id"] in units else unguarded(text["unit_id"])
    status = text["status"].lower().replace(" ", "_") or "booked"
    if unit not in units:
        return None, [f'column "unit_id": {cut(unit)!r} is no unit under care; the row was not used. Correct it.']
    if status not in STATUSES:
        return None, [
            f'column "status": {cut(text["status"])!r} is none of {", ".join(STATUSES)}; row not used. Correct it.'
        ]
    date = _date(text["date"])
    row: dict[str, object] = {
        "unit_id": unit,
        "date": date,
        "opens": None,
        "closes": None,
        "technician": None,
        "status": status,
        "source_line": cells["source_line"],
    }
    if status != "booked":
        return row, said
    if date is None:
        return None, [
            f'column "date": {cut(text["date"])!r} is not a date; unit {cut(unit)} is planned as not booked. '
            "Write it as 2026-04-09."
        ]
    if date <= as_of:
        return None, [
            f'column "date": {date} is past, as of {as_of}; unit {cut(unit)} is planned as not booked. '
            "Import the visit, or book another day."
        ]
    if not window.first <= date <= window.last:
        said.append(
            f'column "date": {date} is not in this round, {window.first} to {window.last}; '
            f"unit {cut(unit)} stays booked and is left out of it."
        )
    opens, closes = _clock(text["from"]), _clock(text["to"])
    wrong = [name for name, value in (("from", opens), ("to", closes)) if text[name] and value is None]
    if wrong or (opens is not None and closes is not None and opens > closes):
        name = wrong[0] if wrong else "to"
        return row | {"status": "unreadable"}, [
            f'column "{name}": {cut(text[name])!r} is not a time after the one before; '
            f"unit {cut(unit)} stays booked and is left out of the round. Write hours as 09:30."
        ]
    technician = text["technician"] if text["technician"] in technicians else unguarded(text["technician"])
    if technician and technician not in technicians:
        said.append(
            f'column "technician": {cut(text["technician"])!r} is not in settings.toml; whoever can keeps the hour.'
        )
    elif technician:
        row["technician"] = technician
    return row | {"opens": opens, "closes": closes}, said


def _date(text: str) -> dt.date | None:
    for form in DATE_FORMATS:
        try:
            return dt.datetime.strptime(text.split(" ")[0].split("T")[0], form).date()
        except ValueError:
            continue
    return None


def _clock(text: str) -> int | None:
    """Return minutes after midnight of 9, 09:30, 9.30, 9:30 AM or 2 pm; None of anything else."""
    match = CLOCK.fullmatch(text.strip())
    if match is None:
        return None
    hour, minute, half = int(match[1]), int(match[2] or 0), (match[3] or "").lower()
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half == "p" else 0)
    return hour * 60 + minute if hour < 24 and minute < 60 else None
