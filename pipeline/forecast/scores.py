"""How good a set of past odds was: plain counts, reliability, skill and slope."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, expit, logit

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

NEWTON_STEPS = 30
MOST_BINS = 5
LEAST_EXPECTED_PER_BIN = 4.0
"""Steps of the fit; bins of a reliability table at most, and failures expected in each at least, so that a bin can be
judged (engineering choices)."""


@dataclass(frozen=True)
class Bin:
    """Units of similar odds: how many, what was expected, what happened, with its 90 % limits."""

    units: int
    expected_share: float
    failed: int
    share: float
    share_low: float
    share_high: float


def brier_skill(p: Floats, happened: Flags) -> float | None:
    """Return 1 - Brier score over that of always saying the base rate; None where nothing or all happened."""
    base = float(happened.mean()) if len(happened) else 0.0
    if base in {0.0, 1.0}:
        return None
    return 1.0 - float(np.mean((p - happened) ** 2)) / (base * (1 - base))


def calibration(p: Floats, happened: Flags, prior_sd: tuple[float, float] | None = None) -> tuple[float, float]:
    """Return intercept and slope of logit p' = a + b logit p, by Newton steps.

    ``prior_sd`` holds a towards 0 and b towards 1; without it a whisper of the same keeps the answer finite.
    """
    x = logit(np.clip(p, 1e-6, 1 - 1e-6))
    design = np.column_stack([np.ones(len(x)), x])
    sd = np.array(prior_sd or (10.0, 10.0))
    centre = np.array([0.0, 1.0])
    beta = centre.copy()
    for _ in range(NEWTON_STEPS):
        fitted = expit(design @ beta)
        gradient = design.T @ (fitted - happened) + (beta - centre) / sd**2
        weight = fitted * (1 - fitted)
        step = np.linalg.solve((design * weight[:, None]).T @ design + np.diag(sd**-2), gradient)
        beta = beta - np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-8:
            break
    return float(beta[0]), float(beta[1])


def skill_se(p: Floats, happened: Flags) -> float | None:
    """Return the standard error of the Brier skill, the base rate taken as known."""
    base = float(happened.mean()) if len(happened) else 0.0
    if base in {0.0, 1.0}:
        return None
    gain = (base - happened) ** 2 - (p - happened) ** 2
    return float(gain.std() / np.sqrt(len(p)) / (base * (1 - base)))


def slope_se(p: Floats, happened: Flags) -> float:
    """Return the standard error of the calibration slope."""
    x = logit(np.clip(p, 1e-6, 1 - 1e-6))
    design = np.column_stack([np.ones(len(x)), x])
    fitted = expit(design @ np.array(calibration(p, happened)))
    information = (design * (fitted * (1 - fitted))[:, None]).T @ design + np.eye(2) * 1e-4
    return float(np.sqrt(np.linalg.inv(information)[1, 1]))


def share_limits(count: int, n: int, level: float = 0.90) -> tuple[float, float]:
    """Return the exact binomial (Clopper-Pearson) limits of a share.

    Examples
    --------
    >>> tuple(round(v, 4) for v in share_limits(0, 10))
    (0.0, 0.2589)
    """
    tail = (1 - level) / 2
    low = 0.0 if count == 0 else float(betaincinv(count, n - count + 1, tail))
    high = 1.0 if count == n else float(betaincinv(count + 1, n - count, 1 - tail))
    return low, high


def reliability(p: Floats, happened: Flags) -> tuple[Bin, ...]:
    """Return up to five bins of rising odds, each with an equal part of the expected failures."""
    if not len(p):
        return ()
    order = np.argsort(p, kind="stable")
    running = np.cumsum(p[order])
    count = int(np.clip(running[-1] // LEAST_EXPECTED_PER_BIN, 1, MOST_BINS))
    which = np.minimum((count * running / running[-1] - 1e-12).astype(np.int64), count - 1)
    found = []
    for k in range(count):
        part = order[which == k]
        if len(part):
            hits = int(happened[part].sum())
            found.append(Bin(len(part), float(p[part].mean()), hits, hits / len(part), *share_limits(hits, len(part))))
    return tuple(found)
