"""What technicians write in the notes of a tidy export: little, and rarely with a number in it."""

from __future__ import annotations

import numpy as np
import polars as pl

MAINTENANCE = (
    "washed condenser, changed filter",
    "all good, see you next spring",
    "customer not home, left ticket in door",
    "cleared drain line, ran water through",
    "filter overdue",
    "cond coil matted with cottonwood, washed",
    "tightened lugs at contactor",
    "asked about <b>upstairs</b> being warm; ducts, not charge",
    "dog in yard - call first",
    "fin damage from hail, combed",
    "disconnect cover loose, fixed",
)
CALLS = {
    "run_capacitor": (
        "fan turns, compressor hums and trips",
        "no start, cap bad",
        "top of can swollen, replaced",
        "customer had been pushing the fan with a stick",
    ),
    "refrigerant_leak": ("low, oil at the evap", "bubbles at flare, redone", "topped up, told her it will leak again"),
    "contactor": ("contacts burnt", "ants in contactor again", "chattering"),
    "compressor": ("compressor grounded", "locked rotor, hard start did not help", "megged low; replacement quoted"),
    "condensate_drain": ("float switch tripped, drain blocked", "pan full, cleared with wet vac"),
    "control_board": ("board dead, no 24 V out", "relay stuck on board"),
}
OTHER = (
    "fixed, running on leaving",
    "ran 20 minutes, ok",
    "told owner to watch it",
    'said "it did this last year too"',
)
LONG = "Two things:\n1) unit ok now\n2) would like a price for a new one"


def add_notes(rng: np.random.Generator, visits: pl.DataFrame) -> pl.DataFrame:
    """Return the visits with ``notes``: blank on most tune-ups, a word or two else, now and then over several lines."""
    notes: list[str | None] = []
    for kind, cause in visits.select("visit_type", "cause").iter_rows():
        draw = rng.random()
        if kind in {"maintenance", "inspection", "install"}:
            notes.append(str(rng.choice(MAINTENANCE)) if draw < 0.4 else LONG if draw < 0.41 else None)
        else:
            notes.append(str(rng.choice(CALLS.get(cause or "", OTHER))) if draw < 0.8 else None)
    return visits.with_columns(notes=pl.Series(notes, dtype=pl.String))
