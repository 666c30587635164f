"""Two fleets with known leaks, built on different laws, to hold the told odds against.

``plain_fleet``: leaks that run from the first visit on, charge right at the start, top-ups whenever the loss shows.
``sample_shop``: the shop of the sample exports, where leaks begin at any time, a third of the systems were never
charged right, techs top up on a noisy reading, searches miss, and some leaks are mended without a word.
"""

from __future__ import annotations

import datetime as dt
import importlib
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.enrich.charge import charge_readings
from pipeline.enrich.leak_trend import charge_trend
from pipeline.enrich.ledger import refrigerant_ledger
from tests.builders import make_frame, make_parts

Floats = NDArray[np.float64]
GROUPS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.97, 1.01)
LEAK_PCT = 1.0
"""A slower loss than this percent a year is none: nobody would find it."""


@dataclass(frozen=True)
class Leaks:
    """Told odds and interval per unit, and the true rate, percent of the charge a year."""

    told: Floats
    low: Floats
    high: Floats
    rate: Floats

    @property
    def leaking(self) -> NDArray[np.bool_]:
        """Which units do lose charge."""
        return self.rate > LEAK_PCT

    def table(self, edges: tuple[float, ...] = GROUPS) -> pl.DataFrame:
        """Return per group of told odds: units, mean told, share that leaks."""
        rows = []
        for low, high in pairwise(edges):
            group = (self.told >= low) & (self.told < high)
            if group.any():
                rows.append((low, int(group.sum()), float(self.told[group].mean()), float(self.leaking[group].mean())))
        return pl.DataFrame(rows, schema=["from", "units", "told", "leaking"], orient="row")

    def area(self) -> float:
        """Return the chance that a leaking unit is told higher odds than one that is tight."""
        ranks, n = np.argsort(np.argsort(self.told)), self.leaking.sum()
        return float((ranks[self.leaking].sum() - n * (n - 1) / 2) / (n * (~self.leaking).sum()))


def plain_fleet(seed: int, units: int = 600) -> Leaks:
    """Return the simple fleet; degF per percent and top-up habits are not the model's."""
    rng = np.random.default_rng(seed)
    rates = np.where(rng.random(units) < 0.2, rng.lognormal(np.log(8.0), 0.7, units), 0.0)
    visits: list[dict[str, Any]] = []
    for k, rate in enumerate(rates):
        lost, offset, per_pct = 0.0, rng.normal(0, 1.5), rng.normal(0.6, 0.12)
        for year in range(2019, 2025):
            lost += rate * (1 if year > 2019 else rng.uniform(0, 3))
            loss_f = per_pct * lost + offset + rng.normal(0, 2.5)
            row: dict[str, Any] = {
                "unit_id": f"U{k:04d}",
                "visit_id": f"V{k}-{year}",
                "visit_date": dt.date(year, 6, 1),
                "leak_loss_f": loss_f if rng.random() < 0.7 else None,
            }
            if loss_f > 8 or (rate == 0 and rng.random() < 0.02):
                row["refrigerant_added_oz"] = max(3.0, lost * rng.uniform(0.7, 1.1))
                lost = 0.0
            visits.append(row)
    owned = make_frame(
        "units",
        [{"unit_id": f"U{k:04d}", "refrigerant": "R-410A", "factory_charge_oz": 100.0} for k in range(units)],
    )
    frame = make_frame("visits", [{k: v for k, v in row.items() if k != "leak_loss_f"} for row in visits])
    readings = frame.select("unit_id", "visit_id", "visit_date").with_columns(
        leak_loss_f=pl.Series([row["leak_loss_f"] for row in visits], dtype=pl.Float64),
        deviation_sd_f=pl.lit(2.2),
        metering=pl.lit("fixed_orifice"),
        suspect=pl.lit(None, dtype=pl.String),
    )
    parts = make_parts([])
    ledger = refrigerant_ledger(frame, parts, owned)
    found = charge_trend(readings, ledger, frame, parts, owned, as_of=dt.date(2025, 3, 1))
    return _leaks(found, rates)


def sample_shop(seed: int, units: int = 2500) -> Leaks:
    """Return the shop of the sample exports, the units in care with anything to go by."""
    generator = importlib.import_module("sample_exports.generator.simulate")
    shops: list[Any] = []
    real = generator.Shop

    def kept(*args: Any, **more: Any) -> Any:
        shops.append(real(*args, **more))
        return shops[-1]

    generator.Shop = kept  # the shop's condition is not among the frames that simulate returns
    try:
        frames = generator.simulate(units, 6, seed)
    finally:
        generator.Shop = real
    state, day = shops[0].state, generator.day(generator.AS_OF)
    rate = np.where(state.leak_from < day, state.leak_pct_per_year, 0.0)
    truth = pl.DataFrame({"unit_id": [f"U-{k + 1:04d}" for k in range(rate.size)], "rate": rate})
    visits, owned = frames["visits"], frames["units"]
    dated = visits.select("visit_id", "unit_id", "visit_date").unique("visit_id")
    parts = frames["parts"].drop("unit_id", strict=False).join(dated, on="visit_id")
    ledger = refrigerant_ledger(visits, parts, owned)
    found = charge_trend(charge_readings(visits, owned), ledger, visits, parts, owned, as_of=generator.AS_OF)
    care = owned.filter(pl.col("retired_on").is_null()).select("unit_id").join(visits, on="unit_id", how="semi")
    told = found.filter(pl.col("p_leaking").is_not_null())
    known = told.join(care, on="unit_id", how="semi").join(truth, on="unit_id")
    return _leaks(known, known["rate"].to_numpy())


def together(fleets: list[Leaks]) -> Leaks:
    """Return several fleets as one."""
    return Leaks(*(np.concatenate([getattr(f, name) for f in fleets]) for name in ("told", "low", "high", "rate")))


def _leaks(found: pl.DataFrame, rates: Floats) -> Leaks:
    told = found["p_leaking"].fill_null(0.15).to_numpy()
    low, high = (found[name].fill_null(0.0).to_numpy() for name in ("leak_rate_low_pct", "leak_rate_high_pct"))
    return Leaks(told, low, high, rates)
