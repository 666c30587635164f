"""The frames that the round hands on: stops in the order driven, and what did not fit."""

from __future__ import annotations

import polars as pl

ROUTE_STOPS_SCHEMA = pl.Schema(
    {
        "technician": pl.String(),
        "date": pl.Date(),
        "stop": pl.Int64(),
        "unit_id": pl.String(),
        "arrive": pl.String(),
        "service_minutes": pl.Float64(),
        "drive_minutes": pl.Float64(),
        "reasons": pl.String(),
        "site_id": pl.String(),
        "work": pl.String(),
        "value": pl.Float64(),
        "status": pl.String(),
        "truck": pl.String(),
    }
)
"""One row per unit on a route, sorted by technician, date, stop. ``stop`` counts 1, 2, ... on each technician's day;
``arrive`` is HH:MM; ``drive_minutes`` is from the stop before (0 for a further unit at the same address; the way
home is not in it); ``reasons`` and ``work`` are joined by ``; ``; ``value`` is in the shop's currency; ``status``
is ``booked`` or ``to_book``.
"""

LEFT_OUT_SCHEMA = pl.Schema({"unit_id": pl.String(), "why": pl.String(), "value": pl.Float64()})
"""One row per unit that is due and on no route, dearest first; ``value`` is what leaving it costs, as expected."""
