"""Funnel of makes: rate against unit-years, with the limits that luck alone would keep to."""

from __future__ import annotations

import math
from collections.abc import Mapping

import polars as pl

from reports.charts.theme import Figure, axis, layout
from reports.format import chart_text, count, number

HEIGHT = 340
LEAST_MAKES = 3
STEPS = 24
TICKS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000, 100_000)


def funnel(makes: pl.DataFrame, files: Mapping[str, str]) -> Figure | None:
    """Return the funnel, or None with fewer than three makes or without a failure.

    Parameters
    ----------
    makes
        group_value, unit_years [year], failures, rate_per_100_unit_years, higher; one row per make.
    files
        Make to the file of its rows; one that has it opens it when clicked.

    Notes
    -----
    Limits are drawn by the square-root approximation of Poisson's law, good enough to look at; what is said in words
    rests on the exact test. The dashed pair holds one make 19 times in 20, the outer pair all makes together.
    """
    if makes.height < LEAST_MAKES or not makes["failures"].sum():
        return None
    years = makes["unit_years"].to_list()
    fleet = 100 * float(makes["failures"].sum()) / sum(years)
    low, high = max(min(years), 1.0), max(max(years), 2.0)
    grid = [low * (high / low) ** (n / STEPS) for n in range(STEPS + 1)]
    lines = [
        _line(grid, fleet, side * z, name, dash)
        for z, name, dash in (
            (1.96, "one make, 19 in 20", "dash"),
            (_all_of(makes.height), "all makes together", "dot"),
        )
        for side in (-1, 1)
    ]
    middle = {**_line(grid, fleet, 0.0, "the fleet", "solid"), "showlegend": True}
    points = [
        {
            "type": "scatter",
            "mode": "markers",
            "name": name,
            "x": [round(value, 1) for value in rows["unit_years"]],
            "y": [round(value, 2) for value in rows["rate_per_100_unit_years"]],
            "text": [
                f"{chart_text(make)}<br>{count(failures, 'failure')} in {number(of)} unit-years"
                for make, failures, of in rows.select("group_value", "failures", "unit_years").iter_rows()
            ],
            "customdata": [files.get(make) for make in rows["group_value"]],
            "hovertemplate": "%{text}<extra></extra>",
            "marker": {"symbol": symbol, "color": colour, "size": 9, "line": {"width": 1, "color": colour}},
        }
        for name, rows, symbol, colour in (
            ("makes", makes.filter(~pl.col("higher")), "circle-open", "@mark"),
            ("higher by more than luck", makes.filter("higher"), "diamond", "@alert"),
        )
        if rows.height
    ]
    for line in lines[1::2]:
        line["showlegend"] = False
    return Figure(
        div="chart-makes-funnel",
        data=[middle, *lines, *points],
        layout=layout(
            HEIGHT,
            xaxis=axis("unit-years under care", type="log", tickvals=list(TICKS)),
            yaxis=axis("failures per 100 unit-years", rangemode="tozero"),
            showlegend=True,
        ),
        height=HEIGHT,
        alt=_alt(makes, fleet),
    )


def _line(grid: list[float], fleet: float, z: float, name: str, dash: str) -> dict[str, object]:
    # square root of a Poisson count has a standard deviation of one half
    rates = [100 * max(math.sqrt(fleet * years / 100) + z / 2, 0.0) ** 2 / years for years in grid]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": [round(value, 1) for value in grid],
        "y": [round(value, 2) for value in rates],
        "hoverinfo": "skip",
        "line": {"color": "@muted", "width": 1.5, "dash": dash},
    }


def _all_of(makes: int) -> float:
    """Return about how many standard deviations hold all of so many makes 19 times in 20."""
    tail = 0.025 / makes
    t = math.sqrt(-2 * math.log(tail))
    return t - (2.30753 + 0.27061 * t) / (1 + 0.99229 * t + 0.04481 * t * t)  # Hastings, Abramowitz & Stegun 26.2.22


def _alt(makes: pl.DataFrame, fleet: float) -> str:
    higher = makes.filter("higher")["group_value"].to_list()
    stand = f"Above by more than luck: {', '.join(higher)}." if higher else "None is above by more than luck."
    return (
        f"{count(makes.height, 'make')} by unit-years and failures per 100 unit-years; the fleet has "
        f"{number(fleet, 1)}. {stand} The table below has the numbers."
    )
