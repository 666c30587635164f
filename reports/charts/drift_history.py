"""One capacitor section over time: readings, tolerance, replacements, and where it is likely to go."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from reports.charts.theme import Figure, layout, plain_axis
from reports.format import chart_text, day, doubt, number, signed

HEIGHT = 280
LABEL_DAYS = 120
"""The width of a label beside its line, on an axis of some six years."""
FLOOR_PCT = -45.0
"""Readings below are drawn on this line, pointing down, so that one open section does not flatten the others."""
CEILING_PCT = 25.0
Z_90 = 1.645
SECTION_NAMES: Mapping[str, str] = {"herm": "Hermetic section", "fan": "Fan section", "blower": "Blower capacitor"}
METHODS: Mapping[str, str] = {"bench": "bench", "under_load": "under load", "from_notes": "from the notes"}

Row = Mapping[str, Any]


def drift_history(
    div: str,
    section: str,
    readings: Sequence[Row],
    forecast: Row | None,
    replaced_on: Sequence[dt.date],
    dates: list[str],
    extent: list[float],
) -> Figure | None:
    """Return the chart of one section, or None where it has no reading with a drift.

    Parameters
    ----------
    readings
        Rows of ``capacitor_readings`` of the section, oldest first; drift_pct is measured minus rating [% of rating].
    forecast
        Its row of ``capacitor_forecast``, if any.
    replaced_on
        Dates on which a new part was fitted.
    dates, extent
        Ranges of the date axis and of the drift axis [%]: one scale for all sections of a unit.
    """
    drawn = [row for row in readings if row["drift_pct"] is not None]
    if not drawn:
        return None
    tolerance = next((row["tolerance_pct"] for row in reversed(drawn) if row["tolerance_pct"] is not None), None)
    data = _projection(forecast, tolerance) + _lines(drawn) + _marks(drawn)
    chart = layout(
        HEIGHT,
        xaxis=plain_axis("", type="date", range=dates),
        yaxis=plain_axis("drift from rating, %", range=extent),
        shapes=_shapes(forecast, tolerance, replaced_on),
        annotations=_annotations(forecast, tolerance, replaced_on),
        showlegend=False,
    )
    return Figure(div, data, chart, HEIGHT, _alt(section, drawn, forecast, tolerance, replaced_on))


def drift_extent(readings: Sequence[Row], forecasts: Sequence[Row]) -> list[float]:
    """Return the range of the drift axis [%] that holds every reading and estimate of a unit's sections."""
    drawn = [row for row in readings if row["drift_pct"] is not None]
    drifts = [row["drift_pct"] for row in drawn] + [_end_drift(row) for row in forecasts]
    tolerances = [row["tolerance_pct"] for row in drawn if row["tolerance_pct"] is not None]
    lowest, highest = min([*drifts, -10.0]), max([*drifts, *tolerances, 0.0])
    return [max(lowest, FLOOR_PCT) - 4, min(highest, CEILING_PCT) + 4]


def _clipped(drift: float) -> float:
    return round(min(max(drift, FLOOR_PCT), CEILING_PCT), 2)


def _marks(drawn: Sequence[Row]) -> list[dict[str, Any]]:
    kinds = (
        ("bench reading", "circle", "@mark", lambda r: not r["suspect"] and r["method"] == "bench"),
        ("under load or from notes", "square-open", "@mark", lambda r: not r["suspect"] and r["method"] != "bench"),
        ("suspect, discounted", "x-thin-open", "@alert", lambda r: bool(r["suspect"])),
    )
    traces = []
    for name, symbol, colour, belongs in kinds:
        rows = [row for row in drawn if belongs(row)]
        if rows:
            traces.append(
                {
                    "type": "scatter",
                    "mode": "markers",
                    "name": name,
                    "x": [row["visit_date"].isoformat() for row in rows],
                    "y": [_clipped(row["drift_pct"]) for row in rows],
                    "text": [_hover(row) for row in rows],
                    "hovertemplate": "%{text}<extra></extra>",
                    "marker": {
                        "symbol": ["triangle-down" if row["drift_pct"] < FLOOR_PCT else symbol for row in rows],
                        "color": colour,
                        "size": 10,
                        "line": {"width": 2, "color": colour},
                    },
                }
            )
    return traces


def _hover(row: Row) -> str:
    lines = [
        f"{day(row['visit_date'])}: {signed(row['drift_pct'])} %",
        f"{number(row['measured_uf'], 1)} of {number(row['rated_uf'], 1)} µF, {METHODS.get(row['method'], 'other')}",
    ]
    if row["technician"]:
        lines.append(chart_text(row["technician"]))
    if row["suspect"]:
        lines.append("suspect: " + chart_text(doubt(row["suspect"])))
    return "<br>".join(lines)


def _lines(drawn: Sequence[Row]) -> list[dict[str, Any]]:
    traces = []
    for series in sorted({row["series"] for row in drawn if row["series"] is not None}):
        rows = [row for row in drawn if row["series"] == series and not row["suspect"]]
        if len(rows) > 1:
            traces.append(
                {
                    "type": "scatter",
                    "mode": "lines",
                    "showlegend": False,
                    "hoverinfo": "skip",
                    "x": [row["visit_date"].isoformat() for row in rows],
                    "y": [_clipped(row["drift_pct"]) for row in rows],
                    "line": {"color": "@mark", "width": 1.5},
                }
            )
    return traces


def _end_drift(forecast: Row | None) -> float:
    if not forecast or forecast["drift_pct"] is None or not forecast["season_end"] or not forecast["as_of"]:
        return 0.0
    years = (forecast["season_end"] - forecast["as_of"]).days / 365.25
    return float(forecast["drift_pct"] + (forecast["drift_pct_per_year"] or 0.0) * years)


def _projection(forecast: Row | None, tolerance: float | None) -> list[dict[str, Any]]:
    """Return the 90 % band and its middle, from as-of to the season's end.

    The band starts at the estimate's own spread and its edges pass through the dates by which the section is out of
    tolerance with 5 and 95 % probability, where those are known.
    """
    if not forecast or forecast["drift_pct"] is None or not forecast["season_end"]:
        return []
    start, end = forecast["as_of"], forecast["season_end"]
    spread = Z_90 * (forecast["drift_sd_pct"] or 0.0)
    middle = (forecast["drift_pct"], _end_drift(forecast))
    rate = middle[1] - middle[0]
    low = _edge(middle[0] - spread, rate, start, end, forecast["out_earliest"], tolerance)
    high = _edge(middle[0] + spread, rate, start, end, forecast["out_latest"], tolerance)
    low_end, high_end = min(low, middle[1]), max(high, middle[1])
    dates = [start.isoformat(), end.isoformat()]
    corners = [middle[0] - spread, low_end, high_end, middle[0] + spread]
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "name": "likely range, 9 in 10",
            "hoverinfo": "skip",
            "x": [dates[0], dates[1], dates[1], dates[0]],
            "y": [_clipped(value) for value in corners],
            "fill": "toself",
            "fillcolor": "@band",
            "line": {"width": 0},
        },
        {
            "type": "scatter",
            "mode": "lines",
            "name": "estimate",
            "hoverinfo": "skip",
            "x": dates,
            "y": [_clipped(value) for value in middle],
            "line": {"color": "@mark", "width": 2, "dash": "dot"},
        },
    ]


def _edge(
    now: float, rate: float, start: dt.date, end: dt.date, crosses_on: dt.date | None, tolerance: float | None
) -> float:
    days = (crosses_on - start).days if crosses_on else 0
    if tolerance is None or days <= 0:
        return now + rate
    return now + (-tolerance - now) * (end - start).days / days


def _shapes(forecast: Row | None, tolerance: float | None, replaced_on: Sequence[dt.date]) -> list[dict[str, Any]]:
    shapes: list[dict[str, Any]] = []
    if forecast and forecast["season_start"] and forecast["season_end"]:
        shapes.append(
            {
                "type": "rect",
                "xref": "x",
                "yref": "paper",
                "layer": "below",
                "y0": 0,
                "y1": 1,
                "x0": forecast["season_start"].isoformat(),
                "x1": forecast["season_end"].isoformat(),
                "fillcolor": "@season",
                "line": {"width": 0},
            }
        )
    if tolerance is not None:
        shapes += [
            {
                "type": "line",
                "xref": "paper",
                "x0": 0,
                "x1": 1,
                "y0": sign * tolerance,
                "y1": sign * tolerance,
                "line": {"color": "@alert" if sign < 0 else "@muted", "width": 1.5 if sign < 0 else 1, "dash": "dash"},
            }
            for sign in (-1, 1)
        ]
    shapes += [
        {
            "type": "line",
            "yref": "paper",
            "y0": 0,
            "y1": 1,
            "x0": when.isoformat(),
            "x1": when.isoformat(),
            "line": {"color": "@ink", "width": 1, "dash": "dot"},
        }
        for when in replaced_on
    ]
    return shapes


def _labelled(replaced_on: Sequence[dt.date]) -> list[dt.date]:
    """Return the dates whose label does not fall onto that of the one before."""
    kept: list[dt.date] = []
    for when in replaced_on:
        if not kept or (when - kept[-1]).days > LABEL_DAYS:
            kept.append(when)
    return kept


def _annotations(forecast: Row | None, tolerance: float | None, replaced_on: Sequence[dt.date]) -> list[dict[str, Any]]:
    notes: list[dict[str, Any]] = []
    if tolerance is not None:
        notes.append(
            {
                "xref": "paper",
                "x": 0,
                "y": -tolerance,
                "xanchor": "left",
                "yanchor": "top",
                "showarrow": False,
                "text": f"tolerance {signed(-tolerance, 0)} %",
                "font": {"size": 12},
            }
        )
    notes += [
        {
            "x": when.isoformat(),
            "yref": "paper",
            "y": 1,
            "xanchor": "right",
            "yanchor": "top",
            "showarrow": False,
            "text": "new part",
            "font": {"size": 12},
            "textangle": -90,
        }
        for when in _labelled(replaced_on)
    ]
    if forecast and forecast["season_start"] and forecast["season_end"]:
        notes.append(
            {
                "x": forecast["season_end"].isoformat(),
                "yref": "paper",
                "y": 0,
                "xanchor": "right",
                "yanchor": "bottom",
                "showarrow": False,
                "text": "season",
                "font": {"size": 12},
            }
        )
    return notes


def _alt(
    section: str, drawn: Sequence[Row], forecast: Row | None, tolerance: float | None, replaced_on: Sequence[dt.date]
) -> str:
    first, last = drawn[0], drawn[-1]
    name, at = SECTION_NAMES.get(section, section), f"{signed(last['drift_pct'])} % from its rating."
    if len(drawn) == 1:
        parts = [f"{name}: 1 reading, on {day(last['visit_date'])}, {at}"]
    else:
        dates = f"from {day(first['visit_date'])} to {day(last['visit_date'])}"
        parts = [f"{name}: {number(len(drawn))} readings {dates}, the last {at}"]
    if tolerance is not None:
        parts.append(f"The tolerance line lies at {signed(-tolerance, 0)} %.")
    if replaced_on:
        parts.append("New part fitted on " + ", ".join(day(when) for when in replaced_on) + ".")
    if forecast and forecast["drift_pct"] is not None and forecast["season_end"]:
        parts.append(f"Estimated {signed(_end_drift(forecast))} % by {day(forecast['season_end'])}.")
    return " ".join(parts)
