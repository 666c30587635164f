"""The two failure models as one: the mean of their log hazards, drawn in where the shop has seen few failures."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from pipeline.forecast.params import DrawIn
from pipeline.forecast.priors import priors

Floats = npt.NDArray[np.float64]


def learn_draw_in(log_hazard: Floats, failures: int, rate: float) -> DrawIn:
    """Return how far to draw log hazards in towards their mean after that many failures.

    Notes
    -----
    Most probable coefficients from few failures are too bold, and an error on the bold side costs more than
    one on the timid side. The weight w = F0 / (failures + F0) falls from 1 to 0 as failures come in: the
    highest hazards bend towards 1 / (w cap), the spread shrinks by 1 - w share, and the mean hazard of the
    rows learned from (or ``rate``, where there are none) is kept.
    """
    p = priors()["draw_in"]
    weight = float(p["failures"]) / (failures + float(p["failures"]))
    cap, slope = weight * float(p["cap"]), 1 - weight * float(p["share"])
    if not len(log_hazard):
        return DrawIn(cap, slope, (1 - slope) * float(np.log(rate)))
    drawn = draw_in(log_hazard, DrawIn(cap, slope, 0.0))
    return DrawIn(cap, slope, float(np.log(np.exp(log_hazard).mean()) - np.log(np.exp(drawn).mean())))


def draw_in(log_hazard: Floats, by: DrawIn) -> Floats:
    """Return the log hazards bent, shrunk and moved."""
    bent = log_hazard - np.log1p(by.cap * np.exp(log_hazard))
    return np.asarray(by.offset + by.slope * bent)
