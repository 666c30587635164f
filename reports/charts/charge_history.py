"""Superheat or subcooling over time against the target of each visit and the band in which the charge is right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports.charts.theme import Figure, layout, plain_axis
from reports.format import chart_text, count, day, number, words

HEIGHT = 260
BAND_F: Mapping[str, float] = {"superheat": 5.0, "subcooling": 3.0}
"""Half width of the band within which the charge passes [degF]: the contract's charge bands."""

SYMBOLS: Mapping[str, str] = {
    "within": "circle",
    "low": "triangle-down",
    "high": "triangle-up",
    "airflow_first": "square-open",
    "not_testable": "circle-open",
}
"""Shape by verdict, so that it is read without colour."""

Row = Mapping[str, Any]


def charge_history(div: str, metric: str, readings: Sequence[Row], dates: list[str]) -> Figure | None:
    """Return the chart of ``superheat`` or ``subcooling`` [degF], or None where it was never known.

    The target of a fixed orifice moves with the weather, so each visit carries its own target and band; nothing is
    drawn between visits that would suggest a target in between. ``dates`` is the range of the date axis.
    """
    measured_field, target_field = f"{metric}_f", f"target_{metric}_f"
    rows = [row for row in readings if row[measured_field] is not None]
    if not rows:
        return None
    aimed = [row for row in rows if row[target_field] is not None]
    data: list[dict[str, Any]] = []
    if aimed:
        data.append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": "target",
                "x": [row["visit_date"].isoformat() for row in aimed],
                "y": [round(row[target_field], 1) for row in aimed],
                "error_y": {
                    "type": "constant",
                    "value": BAND_F[metric],
                    "color": "@band-solid",
                    "thickness": 10,
                    "width": 0,
                },
                "marker": {
                    "symbol": "line-ew-open",
                    "size": 16,
                    "color": "@ink",
                    "line": {"width": 2, "color": "@ink"},
                },
                "hoverinfo": "skip",
            }
        )
    data.append(
        {
            "type": "scatter",
            "mode": "markers",
            "name": "measured",
            "x": [row["visit_date"].isoformat() for row in rows],
            "y": [round(row[measured_field], 1) for row in rows],
            "text": [_hover(row, metric) for row in rows],
            "hovertemplate": "%{text}<extra></extra>",
            "marker": {
                "symbol": [SYMBOLS.get(row["charge_verdict"], "circle-open") for row in rows],
                "size": 10,
                "color": "@mark",
                "line": {"width": 2, "color": "@mark"},
            },
        }
    )
    chart = layout(
        HEIGHT,
        xaxis=plain_axis("", type="date", range=dates),
        yaxis=plain_axis(f"{metric}, °F", range=_extent(rows, metric)),
        showlegend=False,
    )
    return Figure(div, data, chart, HEIGHT, _alt(metric, rows))


def _extent(rows: Sequence[Row], metric: str) -> list[float]:
    measured = [row[f"{metric}_f"] for row in rows]
    targets = [row[f"target_{metric}_f"] for row in rows if row[f"target_{metric}_f"] is not None]
    edges = [target + sign * BAND_F[metric] for target in targets for sign in (-1, 1)]
    return [round(min([0.0, *measured, *edges]) - 1.5, 1), round(max([*measured, *edges, 5.0]) + 2.0, 1)]


def _hover(row: Row, metric: str) -> str:
    lines = [f"{day(row['visit_date'])}: {metric} {number(row[f'{metric}_f'], 1)} °F"]
    if row[f"target_{metric}_f"] is not None:
        lines.append(f"target {number(row[f'target_{metric}_f'], 1)} °F")
    lines.append(words(row["charge_verdict"]))
    if row["technician"]:
        lines.append(chart_text(row["technician"]))
    return "<br>".join(lines)


def _alt(metric: str, rows: Sequence[Row]) -> str:
    last = rows[-1]
    target = last[f"target_{metric}_f"]
    against = "no target is known for it" if target is None else f"the target was {number(target, 1)} °F"
    return (
        f"{metric.capitalize()} on {count(len(rows), 'visit')}; the last, on {day(last['visit_date'])}, was "
        f"{number(last[f'{metric}_f'], 1)} °F and {against}: {words(last['charge_verdict'])}."
    )
