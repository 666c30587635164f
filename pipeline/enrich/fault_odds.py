"""What the readings of each visit say for and against each fault, before any odds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.enrich.charge_targets import EXPANSION_VALVE, FIXED_ORIFICE
from pipeline.enrich.expected import Residuals, residuals_of
from pipeline.enrich.fault_likelihood import fault_likelihoods
from pipeline.enrich.fault_model import FaultModel
from pipeline.enrich.not_testable import has_reason, reasons

Floats = NDArray[np.float64]
CHUNK = 100_000


@dataclass(frozen=True)
class Evidence:
    """Likelihood per row and answer times what was seen, NaN where no fault can be judged; and what it rests on."""

    weights: Floats
    residuals: Residuals

    @property
    def judged(self) -> NDArray[np.bool_]:
        """Rows on which a fault can be judged."""
        return np.isfinite(self.weights[:, 0])


def evidence_of(rows: pl.DataFrame, levels: pl.DataFrame, model: FaultModel) -> Evidence:
    """Return what the readings say.

    Parameters
    ----------
    rows : pl.DataFrame
        Judged readings, whole history of each unit, sorted by unit_id, visit_date, visit_id.
    levels : pl.DataFrame
        ``LEVELS_SCHEMA``; may be empty.
    model : FaultModel
        Patterns and sizes.
    """
    judged = rows.select(_usable()).to_series().fill_null(False).to_numpy()
    residuals = residuals_of(rows, levels, model)
    weights = np.full((len(rows), len(model.answers)), np.nan)
    at = np.flatnonzero(judged)
    shared = rows.select("suction_saturation_sd_f", "liquid_saturation_sd_f").to_numpy().T
    valve = rows.select(EXPANSION_VALVE.fill_null(False)).to_series().to_numpy()
    seen = _seen_odds(rows, model)
    for first in range(0, at.size, CHUNK):
        part = at[first : first + CHUNK]
        values, sds = residuals.values[:, part], residuals.sds[:, part]
        weights[part] = fault_likelihoods(values, sds, shared[:, part], valve[part], model) * seen[part]
    return Evidence(weights, residuals)


def posterior(evidence: Evidence, model: FaultModel, faulty_share: float | None = None) -> Floats:
    """Return the probability of each answer, rows x answers, at the model's own odds or at a share of faulty visits."""
    prior = np.asarray([model.prior[a] for a in model.answers])
    if faulty_share is not None:
        prior = prior * faulty_share / (1.0 - prior[0])
        prior[0] = 1.0 - faulty_share
    odds = evidence.weights * prior
    out: Floats = odds / odds.sum(axis=1, keepdims=True)
    return out


def _usable() -> pl.Expr:
    """Where a fault can be judged: cooling, settled, a known refrigerant, and a metering device the table covers."""
    neither = [r.code for r in reasons().values() if r.fault_neither]
    return (FIXED_ORIFICE | EXPANSION_VALVE) & ~has_reason(neither)


def _seen_odds(rows: pl.DataFrame, model: FaultModel) -> Floats:
    out = np.ones((len(rows), len(model.answers)))
    for word, factors in model.seen.items():
        at = rows.get_column("observations").str.contains(word, literal=True).fill_null(False).to_numpy()
        for fault, factor in factors.items():
            out[at, model.answers.index(fault)] *= factor
    return out
