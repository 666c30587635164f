"""Which cause a failure will have, and what of it a stop in spring prevents."""

from __future__ import annotations

import json
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.config import Flagging
from pipeline.forecast.priors import priors
from pipeline.forecast.units_additive import COMPONENTS

Floats = npt.NDArray[np.float64]

CAUSE_OF = {
    "herm": "run_capacitor",
    "fan": "run_capacitor",
    "charge": "refrigerant_leak",
    "added": "refrigerant_leak",
    "compressor": "compressor",
}
"""The cause word of each hazard that follows a state; "base" is every other failure, of any cause."""
BASE = COMPONENTS.index("base")


def learn_base_causes(hazards: Floats, failed_causes: pl.Series) -> dict[str, float]:
    """Return how the failures that no state foretold divide by cause.

    Parameters
    ----------
    hazards
        By unit-season and component, for the seasons learned from.
    failed_causes
        Cause word of every failure in them; null is an unnamed one.

    Notes
    -----
    What happened by cause, less what the states led to expect of that cause, never below 0, on top of the
    prior's split. A capacitor that goes open without warning is such a failure.
    """
    p = priors()["base_causes"]
    split = {cause: float(share) for cause, share in p["split"].items()}
    counts: dict[str, float] = {cause: float(p["pseudo_failures"]) * share for cause, share in split.items()}
    foretold = dict.fromkeys(CAUSE_OF.values(), 0.0)
    for component, cause in CAUSE_OF.items():
        foretold[cause] += float(hazards[:, COMPONENTS.index(component)].sum())
    for cause, seen in failed_causes.fill_null("other").value_counts(sort=True).sort(failed_causes.name).iter_rows():
        counts[cause] = counts.get(cause, 0.0) + max(0.0, seen - foretold.get(cause, 0.0))
    total = sum(counts.values())
    return {cause: count / total for cause, count in sorted(counts.items())}


def cause_shares(hazards: Floats, base_causes: Mapping[str, float]) -> list[str]:
    """Return each unit's split of its odds by cause word as JSON text; the shares sum to 1."""
    words = sorted(set(CAUSE_OF.values()) | set(base_causes))
    to_word = np.zeros((len(COMPONENTS), len(words)))
    for component, cause in CAUSE_OF.items():
        to_word[COMPONENTS.index(component), words.index(cause)] = 1.0
    for cause, share in base_causes.items():
        to_word[BASE, words.index(cause)] = share
    by = hazards @ to_word
    by = by / np.maximum(by.sum(axis=1, keepdims=True), 1e-12)
    return [json.dumps({w: round(float(v), 4) for w, v in zip(words, row, strict=True)}) for row in by]


def prevention_share(hazards: Floats, flagging: Flagging) -> Floats:
    """Return the share of each unit's failures that a stop prevents: by the state that foretells them.

    A failure that nothing foretells, an open capacitor among them, counts with the share of every other cause.
    """
    by_cause = {
        "run_capacitor": flagging.prevention_run_capacitor,
        "refrigerant_leak": flagging.prevention_refrigerant_leak,
        "compressor": flagging.prevention_compressor,
    }
    weights = np.array([by_cause[CAUSE_OF[c]] if c in CAUSE_OF else flagging.prevention_share for c in COMPONENTS])
    return np.asarray(hazards @ weights / np.maximum(hazards.sum(axis=1), 1e-12))
