"""Survival curves of one component: the share still working by age, of all makes with its limits and of single ones."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from reports.charts.theme import Figure, axis, layout
from reports.format import chart_text, count, file_stem, name, number

HEIGHT = 300
DASHES = ("dash", "dot", "dashdot", "longdash")
"""Makes are told apart by their dashes, not by colour; so many are drawn, those with the most failures."""
ALL_MAKES = "all makes"
LEGEND = {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom", "font": {"size": 12}, "traceorder": "normal"}
"""In the order drawn: with an area among the traces plotly would turn it round."""


def survival_figure(component: str, curves: pl.DataFrame) -> Figure:
    """Return the chart of one component.

    Parameters
    ----------
    component
        Its name, as the page says it.
    curves
        make (null = all), age_years [year], at_risk, failures, survival, survival_low, survival_high [0 to 1]; by age.
    """
    whole = curves.filter(pl.col("make").is_null())
    makes = [rows for rows in curves.partition_by("make", maintain_order=True) if rows["make"][0] is not None]
    drawn = sorted(makes, key=lambda rows: (-rows["failures"][-1], rows["make"][0]))[: len(DASHES)]
    high, low = (whole[name].fill_null(1.0) for name in ("survival_high", "survival_low"))
    band: dict[str, Any] = {"hoverinfo": "skip", "fillcolor": "@band"}
    data = [
        _steps(whole["age_years"], high, "", "@rule", 0) | {"showlegend": False, "hoverinfo": "skip"},
        _steps(whole["age_years"], low, "19 times in 20, all makes", "@rule", 0) | {"fill": "tonexty", **band},
        _steps(whole["age_years"], whole["survival"], ALL_MAKES, "@mark", 2.5) | _hover(whole),
    ]
    for rows, dash in zip(drawn, DASHES, strict=False):
        line = _steps(rows["age_years"], rows["survival"], chart_text(rows["make"][0]), "@ink", 1.5) | _hover(rows)
        line["line"]["dash"] = dash
        data.append(line)
    return Figure(
        div=f"chart-lives-{file_stem(component)}",
        data=data,
        layout=layout(
            HEIGHT,
            xaxis=axis("age, years", rangemode="tozero"),
            yaxis=axis("still working, %", range=[0, 102]),
            showlegend=True,
            legend=LEGEND,
        ),
        height=HEIGHT,
        alt=_alt(component, whole, drawn),
    )


def _steps(age: pl.Series, share: pl.Series, title: str, colour: str, width: float) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": title,
        "x": [round(value, 2) for value in age],
        "y": [round(100 * value, 1) for value in share],
        "line": {"color": colour, "width": width, "shape": "hv"},
    }


def _hover(rows: pl.DataFrame) -> dict[str, Any]:
    who = chart_text(rows["make"][0]) or ALL_MAKES
    return {
        "text": [
            f"{who}<br>{number(age, 1)} years: {number(100 * share)} % working"
            + (f"<br>{number(at_risk)} at risk, {number(failures)} failed so far" if at_risk is not None else "")
            for age, share, at_risk, failures in rows.select("age_years", "survival", "at_risk", "failures").iter_rows()
        ],
        "hovertemplate": "%{text}<extra></extra>",
    }


def _alt(component: str, whole: pl.DataFrame, makes: Sequence[pl.DataFrame]) -> str:
    first = whole.row(0, named=True)
    begins = f"of those that reached {number(first['age_years'], 1)} years, " if first["age_years"] > 0 else ""
    beside = "; ".join(f"{name(rows['make'][0])} {_ending(rows)}" for rows in makes)
    return (
        f"{component}, still working: {begins}{_ending(whole)}. "
        f"{f'By make: {beside}. ' if makes else ''}Beyond these ages fewer than five are watched and nothing is drawn. "
        "The table below has the numbers."
    )


def _ending(curve: pl.DataFrame) -> str:
    last = curve.row(-1, named=True)
    limits = ""
    if last["survival_low"] is not None:
        limits = f" ({number(100 * last['survival_low'])} to {number(100 * last['survival_high'])} %)"
    return (
        f"{number(100 * last['survival'])} %{limits} at {number(last['age_years'], 1)} years, "
        f"after {count(last['failures'], 'failure')}"
    )
