"""Age against chance for the fleet: where the flagged units lie among the others."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from reports.charts.theme import Figure, axis, layout
from reports.format import chance, chart_text, count, number

HEIGHT = 340


def fleet_scatter(units: pl.DataFrame, unit_files: Mapping[str, str]) -> Figure | None:
    """Return the scatter, or None where no unit has both an age and a chance.

    Parameters
    ----------
    units
        unit_id, flagged, p_failure, make, age_years [years], units_aged; one row per unit drawn.
    unit_files
        Unit to the file of its page; a drawn unit that has one opens it when clicked.
    """
    if units.is_empty():
        return None
    groups = (
        ("others", units.filter(~pl.col("flagged")), "circle-open", "@muted", 7),
        ("on the watch list", units.filter(pl.col("flagged")), "diamond", "@alert", 10),
    )
    data = [
        {
            "type": "scatter",
            "mode": "markers",
            "name": label,
            "x": [round(age, 1) for age in rows["age_years"]],
            "y": [round(100 * p, 1) for p in rows["p_failure"]],
            "text": [
                f"{chart_text(unit_id)}<br>{chart_text(make) or 'make not known'}, {number(age)} years<br>{chance(p)}"
                for unit_id, make, age, p in rows.select("unit_id", "make", "age_years", "p_failure").iter_rows()
            ],
            "customdata": [unit_files.get(unit_id) for unit_id in rows["unit_id"]],
            "hovertemplate": "%{text}<extra></extra>",
            "marker": {"symbol": symbol, "color": colour, "size": size, "line": {"width": 1, "color": colour}},
        }
        for label, rows, symbol, colour, size in groups
        if not rows.is_empty()
    ]
    return Figure(
        div="chart-fleet-age",
        data=data,
        layout=layout(
            HEIGHT,
            xaxis=axis("age, years", rangemode="tozero"),
            yaxis=axis("chance of a no-cooling call, %", rangemode="tozero"),
            showlegend=True,
        ),
        height=HEIGHT,
        alt=_alt(units),
    )


def _alt(units: pl.DataFrame) -> str:
    flagged, others = units.filter(pl.col("flagged")), units.filter(~pl.col("flagged"))
    parts = [f"{count(units.height, 'unit')} drawn by age and chance."]
    for label, rows in (("On the watch list", flagged), ("Others", others)):
        if not rows.is_empty():
            age, p = rows["age_years"].median(), rows["p_failure"].median()
            parts.append(
                f"{label}: {number(rows.height)}, half of them older than {number(_f(age))} years, "
                f"half with a chance above {number(100 * _f(p), 1)} %."
            )
    return " ".join(parts)


def _f(value: object) -> float:
    return float(value) if isinstance(value, (int, float)) else 0.0
