"""How many are needed: the exact distribution of a count of chances that differ."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
TAIL = 1e-13
"""Mass beyond the last count kept; far below any promise made from it."""


def count_odds(chances: Sequence[float] | Floats) -> Floats:
    """Return the probability of 0, 1, 2, ... of the events happening.

    Parameters
    ----------
    chances
        Probability of each event, independent of the others.

    Notes
    -----
    Poisson-binomial distribution, by folding the two-point distributions pairwise (exact but for a tail of 1e-13).

    Examples
    --------
    >>> count_odds([0.5, 0.5]).tolist()
    [0.25, 0.5, 0.25]
    """
    level = [np.array([1.0 - p, p]) for p in chances if p > 0.0]
    if not level:
        return np.array([1.0])
    while len(level) > 1:
        paired = [_trim(np.convolve(a, b)) for a, b in zip(level[::2], level[1::2], strict=False)]
        level = paired + (level[-1:] if len(level) % 2 else [])
    return level[0]


def _trim(odds: Floats) -> Floats:
    beyond = np.cumsum(odds[::-1])[::-1]
    last = int(np.searchsorted(-beyond, -TAIL, side="right"))
    return odds[: max(1, last)]


def quantity_for(odds: Floats, level: float) -> int:
    """Return the smallest count that is enough with at least probability ``level``.

    Examples
    --------
    >>> quantity_for(count_odds([0.5, 0.5]), 0.75)
    1
    """
    return int(np.searchsorted(np.cumsum(odds), level - 1e-12))
