"""What the whole fleet teaches about readings in order, and how many of its visits show a fault."""

from __future__ import annotations

import zlib

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.enrich.expected import LEVELS_SCHEMA, class_levels
from pipeline.enrich.fault_model import FaultModel, fault_model
from pipeline.enrich.fault_odds import Evidence, evidence_of

Floats = NDArray[np.float64]
ROUNDS = 2
MOST_VISITS = 40_000
"""A larger fleet is learned from a part of its units, drawn by their ids: the levels are known well enough by then."""


def fleet_levels(rows: pl.DataFrame) -> pl.DataFrame:
    """Return what is usual per equipment class, and the share of visits that show a fault.

    Parameters
    ----------
    rows : pl.DataFrame
        Judged readings of the whole fleet, in any order.

    Returns
    -------
    pl.DataFrame
        ``LEVELS_SCHEMA``; empty where no class has enough visits in order.

    Notes
    -----
    A visit within its band may hide a fault that the band does not look at, and a fleet has many: they would make what
    is usual too wide. So the levels are learned again with each visit weighed by how probably nothing is wrong with
    it, and the share of faulty visits along with it (expectation and maximisation; Dempster, Laird & Rubin, Journal of
    the Royal Statistical Society B 39, 1977).
    """
    model = fault_model()
    drawn = _drawn(rows).sort("unit_id", "visit_date", "visit_id")
    levels, share = class_levels(drawn), 1.0 - next(iter(model.prior.values()))
    for _ in range(ROUNDS):
        if levels.is_empty():
            break
        evidence = evidence_of(drawn, levels, model)
        share, in_order = _share(evidence, model)
        levels = class_levels(drawn, in_order)
    return levels.with_columns(faulty_share=pl.lit(round(share, 3))).select(LEVELS_SCHEMA.keys())


def share_of(levels: pl.DataFrame) -> float | None:
    """Return the share of visits that show a fault; None where nothing was learned."""
    return None if levels.is_empty() else float(levels.get_column("faulty_share")[0])


def _drawn(rows: pl.DataFrame) -> pl.DataFrame:
    if len(rows) <= MOST_VISITS:
        return rows
    units = rows.get_column("unit_id").unique(maintain_order=True)
    numbers = np.fromiter((zlib.crc32(unit.encode()) for unit in units), dtype=np.uint64, count=len(units))
    kept = units.filter(pl.Series(numbers < MOST_VISITS / len(rows) * 2**32))
    return rows.join(pl.DataFrame({"unit_id": kept}), on="unit_id", how="semi")


def _share(evidence: Evidence, model: FaultModel) -> tuple[float, Floats]:
    """Return the share of faulty visits, and per row how probably it is in order; 0 where that was not judged."""
    prior = np.asarray([model.prior[a] for a in model.answers])
    usual = 1.0 - float(prior[0])
    judged = evidence.judged & evidence.residuals.learned
    well = evidence.weights[:, 0]
    ill = evidence.weights[:, 1:] @ (prior[1:] / usual)
    counts_as, least = model.answer["prior_counts_as_visits"], model.answer["least_faulty_share"]
    share, faulty = usual, np.zeros(len(well))
    for _ in range(30):
        faulty = share * ill / (share * ill + (1.0 - share) * well)
        share = float((counts_as * usual + faulty[judged].sum()) / (counts_as + judged.sum()))
    share = min(max(share, least), usual)
    faulty = share * ill / (share * ill + (1.0 - share) * well)
    return share, np.where(judged, 1.0 - faulty, 0.0)
