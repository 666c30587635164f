"""What the office keeps: parts fitted and their claims, advice and what the customer decided."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sample_exports.generator.almanac import YEAR_DAYS
from sample_exports.generator.fleet import Fleet, Floats, Ints
from sample_exports.generator.visits import Ledger
from sample_exports.generator.words import PART, PARTS

# Price to the customer and cost to the shop in currency units; invented.
PRICE = {
    "run_capacitor": (185, 14),
    "contactor": (210, 19),
    "condenser_fan_motor": (520, 128),
    "compressor": (2350, 840),
    "metering_device": (690, 82),
    "reversing_valve": (980, 165),
    "control_board": (560, 148),
    "thermostat": (240, 68),
    "transformer": (190, 24),
    "condensate_drain": (150, 12),
    "blower_motor": (780, 260),
    "wiring": (160, 9),
    "other": (140, 20),
    "evaporator_coil": (1650, 520),
    "condenser_coil": (1850, 610),
    "start_kit": (230, 32),
    "filter_drier": (180, 22),
    "line_set": (940, 190),
    "refrigerant": (5, 1.4),
}
PRICES = np.array([PRICE.get(word, (0, 0)) for word in PARTS], dtype=float)
PART_COLUMNS = ("cap_herm_uf", "cap_fan_uf", "cap_blower_uf", "cap_volts", "cap_tolerance_pct")
CLAIM_WAIT_DAYS, CREDIT_WAIT_DAYS = 14, 75


def add_parts(
    rng: np.random.Generator,
    ledger: Ledger,
    fleet: Fleet,
    visit_numbers: Ints,
    units: Ints,
    days: Ints,
    part: Ints | int,
    as_of: int,
    quantity: Floats | None = None,
    **ratings: Floats,
) -> None:
    """Write part rows with price and claim state; ``ratings`` may name any of ``PART_COLUMNS`` and ``part_make``."""
    k = len(units)
    if k == 0:
        return
    codes = np.broadcast_to(np.asarray(part), k).copy()
    many = np.ones(k) if quantity is None else quantity
    chunk: dict[str, NDArray[np.generic]] = {
        "visit": visit_numbers,
        "unit": units,
        "part": codes,
        "quantity": many,
        "price": np.round(PRICES[codes, 0] * many * rng.normal(1.0, 0.06, k)),
        "cost": np.round(PRICES[codes, 1] * many * rng.normal(1.0, 0.08, k), 2),
        "part_make": np.broadcast_to(np.asarray(ratings.get("part_make", -1)), k).copy(),
        "serial_known": rng.random(k) < 0.7,
    }
    for name in PART_COLUMNS:
        chunk[name] = np.broadcast_to(np.asarray(ratings.get(name, np.nan), dtype=float), k).copy()
    chunk |= _claims(rng, fleet, units, days, codes, chunk["cost"], as_of)
    ledger.parts.append(chunk)


def _claims(
    rng: np.random.Generator, fleet: Fleet, units: Ints, days: Ints, codes: Ints, cost: NDArray[np.generic], as_of: int
) -> dict[str, NDArray[np.generic]]:
    """Return claim state, amount and date: what is under warranty is filed, sooner or later, or forgotten."""
    k = len(units)
    claimable = ~np.isin(
        codes, [PART[w] for w in ("refrigerant", "condensate_drain", "wiring", "other", "filter_drier")]
    )
    years = np.where(fleet.registered[units], 10.0, 5.0)
    covered = claimable & ((days - fleet.installed[units]) / YEAR_DAYS < years)
    waited, draw = as_of - days, rng.random(k)
    settled = np.select(
        [draw < 0.66, draw < 0.78, draw < 0.9], [3, 4, 1], default=2
    )  # credited, denied, to_file, filed
    settled = np.where((settled == 1) & (waited > 400) & (draw < 0.84), 3, settled)
    state = np.select([waited < CLAIM_WAIT_DAYS, waited < CREDIT_WAIT_DAYS], [1, 2], default=settled)
    state = np.where(covered, state, np.where(rng.random(k) < 0.6, 0, -1))
    filed = days + rng.integers(2, 14, k)
    return {
        "claim_status": state,
        "claim_amount": np.where(state >= 1, np.round(cost.astype(float) * 1.15, 2), np.nan),
        "claimed_on": np.where(state >= 2, filed, -1),
    }


def add_advice(
    rng: np.random.Generator,
    ledger: Ledger,
    visit_numbers: Ints,
    units: Ints,
    days: Ints,
    item: Ints | int,
    decision: Ints | int,
) -> None:
    """Write recommendation rows: the item, what the customer decided, and when."""
    k = len(units)
    if k == 0:
        return
    items = np.broadcast_to(np.asarray(item), k).copy()
    decisions = np.broadcast_to(np.asarray(decision), k).copy()
    ledger.advice.append(
        {
            "visit": visit_numbers,
            "unit": units,
            "item": items,
            "decision": decisions,
            "decided_on": np.where(rng.random(k) < 0.85, days + np.where(decisions == 0, 0, rng.integers(0, 6, k)), -1),
            "price": np.round(PRICES[items, 0] * rng.normal(1.0, 0.05, k)),
            "reason": rng.integers(0, 6, k),
        }
    )
