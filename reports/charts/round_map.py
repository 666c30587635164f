"""A map of the round without map tiles: every stop where it lies, by technician, as one inline drawing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reports.format import count

WIDTH, HEIGHT, MARGIN = 680, 460, 16
SHAPES = ("circle", "square", "triangle", "diamond", "cross", "star")
"""One shape per technician, so that colour is never alone; more technicians than shapes share them with a number."""
MILES_PER_DEGREE = 69.0
MOST_DRAWN = 3000


@dataclass(frozen=True)
class Mark:
    """One place: a path to draw and the technician's number."""

    path: str
    who: int


@dataclass(frozen=True)
class Legend:
    """One technician: shape as path and as word, colour number, how many stops."""

    path: str
    shape: str
    who: int
    text: str


@dataclass(frozen=True)
class RoundMap:
    """The drawing and its words."""

    width: int
    height: int
    marks: tuple[Mark, ...]
    legend: tuple[Legend, ...]
    scale_px: float
    scale_words: str
    alt: str


def round_map(stops: Sequence[Mapping[str, Any]]) -> RoundMap | None:
    """Return the map, or None where no stop has a place.

    Parameters
    ----------
    stops
        technician, lat, lon, stop by stop.

    Notes
    -----
    Equirectangular about the middle latitude: true to scale within some tens of miles.
    """
    placed = [s for s in stops if s["lat"] is not None and s["lon"] is not None][:MOST_DRAWN]
    if not placed:
        return None
    lats, lons = [s["lat"] for s in placed], [s["lon"] for s in placed]
    stretch = max(0.05, math.cos(math.radians((max(lats) + min(lats)) / 2)))
    wide, tall = max((max(lons) - min(lons)) * stretch, 0.002), max(max(lats) - min(lats), 0.002)
    per_degree = min((WIDTH - 2 * MARGIN) / wide, (HEIGHT - 2 * MARGIN) / tall)
    height = round(min(HEIGHT, tall * per_degree + 2 * MARGIN + 24))
    left = (WIDTH - wide * per_degree) / 2

    def at(stop: Mapping[str, Any]) -> tuple[float, float]:
        return (
            left + (stop["lon"] - min(lons)) * stretch * per_degree,
            MARGIN + (max(lats) - stop["lat"]) * per_degree,
        )

    order = {technician: n for n, technician in enumerate(sorted({s["technician"] for s in stops}))}
    seen = sorted({(*at(s), order[s["technician"]]) for s in placed}, key=lambda mark: (mark[2], mark[0], mark[1]))
    marks = tuple(Mark(shape_path(SHAPES[who % len(SHAPES)], x, y), who % len(SHAPES)) for x, y, who in seen)
    counts = {technician: sum(s["technician"] == technician for s in stops) for technician in order}
    legend = tuple(
        Legend(
            shape_path(SHAPES[n % len(SHAPES)], 8, 8),
            SHAPES[n % len(SHAPES)],
            n % len(SHAPES),
            f"{technician}: {count(counts[technician], 'stop')}",
        )
        for technician, n in order.items()
    )
    miles = _nice(wide * MILES_PER_DEGREE / 4)
    missing = len(stops) - len([s for s in stops if s["lat"] is not None and s["lon"] is not None])
    alt = (
        f"Map of {count(len(placed), 'stop')}, north up, about {wide * MILES_PER_DEGREE:.0f} miles wide. "
        + "; ".join(f"{entry.shape}s are {entry.text}" for entry in legend)
        + (f". {count(missing, 'stop')} without a place, not drawn" if missing else "")
        + ". The same stops stand in the tables."
    )
    scale = round(miles / MILES_PER_DEGREE * per_degree, 1)
    return RoundMap(WIDTH, height, marks, legend, scale, f"{miles:g} miles", alt)


def _nice(miles: float) -> float:
    steps = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
    return float(min(steps, key=lambda step: abs(math.log(step / max(miles, 1e-3)))))


def shape_path(shape: str, x: float, y: float, r: float = 5.0) -> str:
    """Return the SVG path of a shape about a point."""
    if shape == "circle":
        return f"M{x - r:.1f} {y:.1f}a{r} {r} 0 1 0 {2 * r} 0a{r} {r} 0 1 0 {-2 * r} 0z"
    if shape == "square":
        return f"M{x - r:.1f} {y - r:.1f}h{2 * r}v{2 * r}h{-2 * r}z"
    if shape == "triangle":
        return f"M{x:.1f} {y - r - 1:.1f}l{r + 1} {2 * r + 1}h{-2 * r - 2}z"
    if shape == "diamond":
        return f"M{x:.1f} {y - r - 1.5:.1f}l{r + 1} {r + 1.5}l{-r - 1} {r + 1.5}l{-r - 1} {-r - 1.5}z"
    if shape == "cross":
        arm = r / 2.5
        return (
            f"M{x - arm:.1f} {y - r:.1f}h{2 * arm}v{r - arm}h{r - arm}v{2 * arm}h{arm - r}v{r - arm}h{-2 * arm}"
            f"v{arm - r}h{arm - r}v{-2 * arm}h{r - arm}z"
        )
    reach = [r + 1.5 if n % 2 == 0 else r / 2.4 for n in range(10)]
    points = [(x + math.sin(n * math.pi / 5) * far, y - math.cos(n * math.pi / 5) * far) for n, far in enumerate(reach)]
    return "M" + "L".join(f"{px:.1f} {py:.1f}" for px, py in points) + "z"
