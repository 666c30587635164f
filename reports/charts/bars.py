"""Geometry of the small bars inside tables, in percent of their width; the macros draw them as inline SVG."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

SCALES = (0.1, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True)
class RangeBar:
    """A point with its interval on a scale shared by the whole column."""

    low: float
    point: float
    high: float

    @property
    def span(self) -> float:
        """Width of the interval, at least a hair so that it stays visible."""
        return round(max(self.high - self.low, 1.0), 1)


def shared_scale(highs: Iterable[float | None]) -> float:
    """Return the smallest full scale, 0.1 to 1, that holds every value, so that one column has one scale."""
    most = max((high for high in highs if high is not None), default=0.0)
    return next((scale for scale in SCALES if most <= scale), 1.0)


def range_bar(p: float | None, low: float | None, high: float | None, scale: float) -> RangeBar | None:
    """Return the bar of a probability on the shared scale; null where there is no probability."""
    if p is None:
        return None
    return RangeBar(_on(p if low is None else low, scale), _on(p, scale), _on(p if high is None else high, scale))


def share(value: float, most: float) -> float:
    """Return a bar's length in percent of the longest bar."""
    return round(100 * value / most, 1) if most > 0 else 0.0


def _on(p: float, scale: float) -> float:
    return round(100 * min(max(p, 0.0), scale) / scale, 1)
