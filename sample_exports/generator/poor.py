"""The second shop: no reading columns, no unit ids; one spreadsheet of jobs with notes, then invoice lines.

``jobs.csv`` is what the owner typed until the end of 2024, one row per job; ``invoice_lines_2025.csv`` is what the
office software exports since, one row per line of a ticket. Both speak of the same addresses.
"""

from __future__ import annotations

import csv
import datetime as dt
import io

import numpy as np
import polars as pl

from pipeline.enrich.refrigerants import add_saturation
from sample_exports.generator.hands import DISTRACTIONS, HAND_SHARE, HANDS, REMARKS, Given, Phrase, added, replaced
from sample_exports.generator.notes import CALLS
from sample_exports.generator.simulate import simulate

UNITS, SEASONS, SEED_SHIFT = 150, 4, 1
SOFTWARE_FROM = dt.date(2025, 1, 1)
JOBS = {
    "maintenance": ("Tune-up", "PM", "AC tune up", "Maintenance"),
    "repair": ("Repair", "Service call"),
    "no_cooling": ("No cool", "No AC", "No cooling"),
    "install": ("Install", "New system"),
    "callback": ("Callback", "Call back"),
    "inspection": ("Inspection", "Home inspection"),
}
ITEM_TEXT = {
    "run_capacitor": "Run capacitor {size}",
    "contactor": "Contactor 2P 30A 24V coil",
    "condenser_fan_motor": "Condenser fan motor 1/4 hp",
    "compressor": "Compressor, scroll",
    "metering_device": "TXV kit",
    "reversing_valve": "Reversing valve",
    "control_board": "Control board",
    "thermostat": "Thermostat, programmable",
    "transformer": "Transformer 40VA",
    "condensate_drain": "Float switch",
    "blower_motor": "Blower motor",
    "wiring": "Wire repair",
    "evaporator_coil": "Evaporator coil",
    "condenser_coil": "Condenser coil",
    "filter_drier": "Filter drier",
    "line_set": "Line set",
    "other": "Misc material",
}
NOTE_TRUTH = ("file", "line", "unit", "field", "value")
ITEM_TRUTH = ("file", "line", "part", "quantity", "cap_herm_uf", "cap_fan_uf", "cap_blower_uf", "refrigerant_oz")
Table = list[tuple[object, ...]]


def poor_shop(seed: int) -> tuple[dict[str, bytes], dict[str, bytes]]:
    """Return the poor shop's files, and the truth: readings in notes, parts in lines, units at addresses."""
    tables = simulate(UNITS, SEASONS, seed + SEED_SHIFT)
    rng = np.random.default_rng([seed, 31])
    tickets = _tickets(tables)
    jobs, job_truth = _jobs(rng, [t for t in tickets if t["date"] < SOFTWARE_FROM])
    lines, line_truth, items = _invoice_lines(rng, [t for t in tickets if t["date"] >= SOFTWARE_FROM])
    behind = (
        tables["units"]
        .join(tables["sites"], on="site_id")
        .select("address", "city", "unit_id", "serial", "unit_location")
    )
    truth = {
        "poor_notes.csv": _csv([NOTE_TRUTH, *job_truth, *line_truth]),
        "poor_items.csv": _csv([ITEM_TRUTH, *items]),
        "poor_units.csv": behind.write_csv().encode(),
    }
    return {"jobs.csv": _csv(jobs), "invoice_lines_2025.csv": _csv(lines)}, truth


def _tickets(tables: dict[str, pl.DataFrame]) -> list[dict[str, object]]:
    """Return one entry per ticket: date, customer, address, kind, total, its units with readings and parts."""
    units = tables["units"].select("unit_id", "site_id", "refrigerant", "cap_herm_uf", "cap_fan_uf")
    sites = tables["sites"].select("site_id", "customer_name", "address", "city")
    read = (
        tables["visits"]
        .join(units, on="unit_id", maintain_order="left")
        .join(sites, on="site_id", maintain_order="left")
    )
    read = add_saturation(read.with_columns(altitude_ft=pl.lit(0.0))).with_columns(
        recorded_superheat_f=(pl.col("suction_line_f") - pl.col("suction_saturation_f")).round(0),
        recorded_subcooling_f=(pl.col("liquid_saturation_f") - pl.col("liquid_line_f")).round(0),
        recorded_split_f=(pl.col("return_db_f") - pl.col("supply_db_f")).round(0),
        return_wb_f=pl.col("return_wb_f").round(0),
        outdoor_db_f=pl.col("outdoor_db_f").round(0),
    )
    fitted = tables["parts"].partition_by("visit_id", "unit_id", as_dict=True)
    tickets: dict[str, dict[str, object]] = {}
    for row in read.iter_rows(named=True):
        ticket = tickets.setdefault(
            row["visit_id"],
            {
                "date": row["visit_date"],
                "customer": row["customer_name"],
                "address": f"{row['address']}, {row['city']}",
                "kind": row["visit_type"],
                "cause": row["cause"],
                "technician": row["technician"],
                "total": 0.0,
                "units": [],
            },
        )
        parts = fitted.get((row["visit_id"], row["unit_id"]))
        ticket["total"] = round(ticket["total"] + row["invoice_total"], 2)  # type: ignore[operator]
        ticket["units"].append((_given(row, parts), [] if parts is None else parts.to_dicts()))  # type: ignore[attr-defined]
    return list(tickets.values())


def _given(row: dict[str, object], parts: pl.DataFrame | None) -> Given:
    """Return the numbers a note of this visit may tell; readings in heating are not told."""
    names = (
        "suction_psig",
        "liquid_psig",
        "recorded_superheat_f",
        "recorded_subcooling_f",
        "recorded_split_f",
        "return_wb_f",
    )
    names = () if row["mode"] == "heating" else (*names, "outdoor_db_f")
    names = (*names, "herm_uf", "fan_uf", "herm_uf_after", "refrigerant_added_oz")
    given = {name: float(row[name]) for name in names if row[name] is not None}  # type: ignore[arg-type]
    for name in ("recorded_superheat_f", "recorded_subcooling_f", "recorded_split_f"):
        if not 0.0 <= given.get(name, 0.0) <= 60.0:
            del given[name]
    for section in ("herm", "fan"):
        rating = row[f"cap_{section}_uf"]
        if rating not in (None, "none"):
            given[f"rated_{section}"] = float(rating)  # type: ignore[arg-type]
    given["refrigerant"] = float("".join(c for c in str(row["refrigerant"] or "410") if c.isdigit()))
    dual = (
        None if parts is None else parts.filter(pl.col("part") == "run_capacitor", pl.col("cap_herm_uf").is_not_null())
    )
    if dual is not None and len(dual):
        given["part_herm"] = float(dual["cap_herm_uf"][0])
        if dual["cap_fan_uf"][0] is not None:
            given["part_fan"] = float(dual["cap_fan_uf"][0])
    return given


def _note(rng: np.random.Generator, ticket: dict[str, object]) -> tuple[str, Table]:
    """Return a note and what it says: (unit mark or blank, field, value); marks are #1 and #2, or up and down."""
    hand = HANDS[int(rng.choice(len(HANDS), p=HAND_SHARE))]
    units: list[tuple[Given, list[dict[str, object]]]] = ticket["units"]  # type: ignore[assignment]
    marks = [("",), ("#1", "#2", "#3", "#4"), ("up", "down", "back", "front")][
        0 if len(units) == 1 else int(rng.integers(1, 3))
    ]
    join = ". " if hand.__name__ == "wordy" else str(rng.choice([", ", " ", "; "]))
    sections: list[str] = []
    truth: Table = []
    for number, (given, _) in enumerate(units):
        mark = marks[min(number, len(marks) - 1)]
        phrases = _phrases(rng, hand, given)
        truth += [(mark, name, value) for _, said in phrases for name, value in said.items()]
        sections.append((f"{mark}: " if mark else "") + join.join(text for text, _ in phrases))
    cause = str(ticket["cause"] or "")
    extra = []
    if cause in CALLS and rng.random() < 0.85:
        extra.append(str(rng.choice(CALLS[cause])))
        truth.append(("", "cause", cause))
    extra += [str(rng.choice(REMARKS))] if rng.random() < 0.45 else []
    extra += [str(rng.choice(DISTRACTIONS))] if rng.random() < 0.25 else []
    between = "\n" if len(units) > 1 else join
    return between.join([text for text in (*sections, *extra) if text]), truth


def _phrases(rng: np.random.Generator, hand: object, given: Given) -> list[Phrase]:
    plain = {n: v for n, v in given.items() if not ("part_herm" in given and n in {"herm_uf", "fan_uf"})}
    return [*hand(rng, plain), *replaced(rng, given), *added(rng, given)]  # type: ignore[operator]


def _jobs(rng: np.random.Generator, tickets: list[dict[str, object]]) -> tuple[Table, Table]:
    rows: Table = [("Date", "Customer", "Address", "Job", "Notes", "Total")]
    truth: Table = []
    line = 2
    for ticket in tickets:
        note, said = _note(rng, ticket)
        date: dt.date = ticket["date"]  # type: ignore[assignment]
        job = str(rng.choice(JOBS[str(ticket["kind"])]))
        rows.append(
            (
                f"{date.month}/{date.day}/{date.year}",
                ticket["customer"],
                ticket["address"],
                job,
                note,
                f"{ticket['total']:.2f}",
            )
        )
        truth += [("jobs.csv", line, *entry) for entry in said]
        line += 1 + note.count("\n")
    return rows, truth


def _invoice_lines(rng: np.random.Generator, tickets: list[dict[str, object]]) -> tuple[Table, Table, Table]:
    rows: Table = [("Invoice #", "Date", "Customer", "Address", "Job", "Tech", "Item", "Qty", "Price", "Notes")]
    truth: Table = []
    items: Table = []
    line = 2
    for number, ticket in enumerate(tickets, 2001):
        note, said = _note(rng, ticket)
        date: dt.date = ticket["date"]  # type: ignore[assignment]
        job = str(rng.choice(JOBS[str(ticket["kind"])]))
        head = (number, date.isoformat(), ticket["customer"], ticket["address"], job, ticket["technician"])
        truth += [("invoice_lines_2025.csv", line, *entry) for entry in said]
        fee = ("Tune-up" if ticket["kind"] == "maintenance" else "Service call", 1, 129.0, None)
        parts = [_item(rng, part, given) for given, fitted in ticket["units"] for part in fitted]  # type: ignore[attr-defined]
        for text, quantity, price, known in [fee, *parts]:
            rows.append((*head, text, f"{quantity:g}", f"{price:.2f}", note))
            if known:
                items.append(("invoice_lines_2025.csv", line, *known))
            line += 1 + note.count("\n")
    return rows, truth, items


def _item(
    rng: np.random.Generator, part: dict[str, object], given: Given
) -> tuple[str, float, float, tuple[object, ...]]:
    """Return an invoice line for a part: text, quantity, price, and what it truly is."""
    ratings = [part[f"cap_{section}_uf"] for section in ("herm", "fan", "blower")]
    price = float(part["price"] or 0.0)  # type: ignore[arg-type]
    if part["part"] == "refrigerant":
        ounces = float(part["quantity"] or 0.0)  # type: ignore[arg-type]
        pounds = max(round(ounces / 16.0, 1), 0.1)
        text = f"R-{given['refrigerant']:.0f}{'A' if given['refrigerant'] == 410 else ''} refrigerant per lb"
        return text, pounds, round(price / pounds, 2), ("refrigerant", pounds, "", "", "", round(16.0 * pounds, 1))
    text = ITEM_TEXT[str(part["part"])].format(size=size_text(ratings)).strip()
    if rng.random() < 0.3:
        text = text.lower()
    return text, 1.0, price, (part["part"], 1, *("" if r is None else r for r in ratings), "")


def size_text(ratings: list[object]) -> str:
    """Return how a capacitor's size is written on an invoice; a single says which section it is for."""
    herm, fan, blower = (None if r is None else f"{float(r):g}" for r in ratings)  # type: ignore[arg-type]
    if herm and fan:
        return f"{herm}/{fan} MFD 440V"
    if herm:
        return f"{herm} MFD 440V herm"
    if fan or blower:
        return f"{fan or blower} MFD 440V {'fan' if fan else 'blower'}"
    return ""


def _csv(rows: Table) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()
