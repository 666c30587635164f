"""Driving times between places: great circle, detour and speed, or the shop's own table where it says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.errors import cut
from pipeline.plan.places import EARTH_RADIUS_MI
from pipeline.plan.problem import TICKS, Ticks

COARSE_MINUTES = 5
"""Least drive between two addresses of which one is known by its postal code only (common practice, no source)."""
OWN_TABLE_SCHEMA = pl.Schema({"from": pl.String(), "to": pl.String(), "minutes": pl.Float64()})
COLUMNS = tuple(OWN_TABLE_SCHEMA)
LONGEST_MINUTES = 24 * 60


@dataclass(frozen=True)
class Places:
    """Places by number: start places first, then sites; ``own`` replaces single drives [ticks]."""

    names: tuple[str, ...]
    lat: npt.NDArray[np.float64] = field(repr=False)
    lon: npt.NDArray[np.float64] = field(repr=False)
    coarse: npt.NDArray[np.bool_] = field(repr=False)
    ticks_per_mi: float
    own: dict[tuple[int, int], int] = field(default_factory=dict, repr=False)


def travel_between(places: Places, rows: Sequence[int]) -> Ticks:
    """Return driving times [ticks], rounded up, between the places ``rows``, square and in that order.

    Notes
    -----
    Minutes = great circle × detour ÷ speed. Road distance is 1.2 to 1.4 of the great circle in most areas (published
    country averages, from memory); the speed is the owner's to set.
    """
    at = np.asarray(rows, dtype=np.int64)
    lat, lon = np.radians(places.lat[at]), np.radians(places.lon[at])
    half = np.sin((lat[:, None] - lat[None, :]) / 2) ** 2
    half += np.cos(lat)[:, None] * np.cos(lat)[None, :] * np.sin((lon[:, None] - lon[None, :]) / 2) ** 2
    miles = 2 * EARTH_RADIUS_MI * np.arcsin(np.sqrt(np.clip(half, 0, 1)))
    ticks: Ticks = np.ceil(np.round(miles * places.ticks_per_mi, 6)).astype(np.int64)
    coarse = places.coarse[at]
    unsure = (coarse[:, None] | coarse[None, :]) & (at[:, None] != at[None, :])
    ticks[unsure] = np.maximum(ticks[unsure], COARSE_MINUTES * TICKS)
    if places.own:
        position: dict[int, list[int]] = {}
        for n, place in enumerate(at.tolist()):
            position.setdefault(place, []).append(n)
        for (start, end), own in places.own.items():
            if start in position and end in position:
                ticks[np.ix_(position[start], position[end])] = own
    return ticks


def ticks_per_mile(speed_mph: float, detour: float) -> float:
    """Return driving ticks per mile as the crow flies."""
    return detour / speed_mph * 60 * TICKS


def own_drives(table: pl.DataFrame, names: Sequence[str], file: str) -> tuple[dict[tuple[int, int], int], list[str]]:
    """Return the drives [ticks] that the shop's own table gives, by place number, and a sentence per row not used.

    Parameters
    ----------
    table
        from, to, minutes as text, and source_line. Places are named by site_id, a start place by its technician. A
        drive is one way; where only one way is given it serves both.
    names
        Places by number.
    """
    numbers: dict[str, list[int]] = {}
    for n, name in enumerate(names):
        numbers.setdefault(name, []).append(n)
    given: dict[tuple[int, int], int] = {}
    notes: list[str] = []
    unknown = 0
    for row in table.iter_rows(named=True):
        start, end, minutes = (str(row[name] or "").strip() for name in COLUMNS)
        try:
            value = float(minutes)
        except ValueError:
            value = -1.0
        if not 0 <= value <= LONGEST_MINUTES:
            notes.append(
                f'{file} line {row["source_line"]}, column "minutes": {cut(minutes)!r} is not a number of minutes; '
                "the row was not used. Correct it. [travel]"
            )
        elif start not in numbers or end not in numbers:
            unknown += 1
        else:
            for a in numbers[start]:
                given |= {(a, b): round(value * TICKS) for b in numbers[end] if a != b}
    if unknown:
        notes.append(f"{file}: {unknown} rows name a place that is not on this round and were not needed. [travel]")
    both = {(b, a): ticks for (a, b), ticks in given.items() if (b, a) not in given}
    return given | both, notes
