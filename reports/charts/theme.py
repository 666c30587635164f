"""Colours by their job, the base layout, and what a chart hands to a page.

A figure names colours as ``@token``; the page's script puts in the value of the style sheet's variable of that name,
so light, dark and print have one palette, in ``assets/site.css``.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', sans-serif"
CONFIG: Mapping[str, Any] = {"displayModeBar": False, "displaylogo": False, "responsive": False, "doubleClick": "reset"}
"""The tool bar stays off: plotly 7 puts an upload button into it."""
AXES = ("xaxis", "yaxis")
BASE: Mapping[str, Any] = {
    "config": CONFIG,
    "axis": {
        "gridcolor": "@rule",
        "linecolor": "@muted",
        "zeroline": False,
        "automargin": True,
        "ticks": "outside",
        "tickcolor": "@rule",
    },
    "layout": {
        "margin": {"l": 62, "r": 12, "t": 12, "b": 36},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": 13, "color": "@ink"},
        "hoverlabel": {"bgcolor": "@paper", "bordercolor": "@muted", "font": {"color": "@ink"}, "align": "left"},
        "hovermode": "closest",
        "dragmode": False,
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom", "font": {"size": 12}},
    },
}
"""The house style of all charts: a page carries it once, each chart only what it has beyond."""


@dataclass(frozen=True)
class Figure:
    """One chart: plotly's data and layout as plain dicts, a fixed div id, and what it says in words."""

    div: str
    data: list[dict[str, Any]]
    layout: dict[str, Any]
    height: int
    alt: str

    @property
    def spec(self) -> dict[str, Any]:
        """What the page's script needs to draw it: the traces, and what its layout has beyond ``BASE``."""
        own = _beyond(self.layout, BASE["layout"])
        return {"data": self.data, "layout": {k: _beyond(v, BASE["axis"]) if k in AXES else v for k, v in own.items()}}


def date_range(dates: Sequence[dt.date]) -> list[str]:
    """Return the range of a date axis that holds the dates with some air, at least a year wide."""
    if not dates:
        return []
    first, last = min(dates), max(dates)
    first = min(first, last - dt.timedelta(days=365))
    margin = max(dt.timedelta(days=20), (last - first) / 30)
    return [(first - margin).isoformat(), (last + margin / 2).isoformat()]


def _beyond(given: Mapping[str, Any], base: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in given.items() if key not in base or base[key] != value}


def axis(title: str, **more: Any) -> dict[str, Any]:
    """Return an axis in the house style: no box, a quiet grid, the title said in words with its unit."""
    return {**BASE["axis"], "title": {"text": title, "standoff": 8}, **more}


def plain_axis(title: str, **more: Any) -> dict[str, Any]:
    """Return an axis whose labels fit the margin as it is, so that it need not be drawn twice to find out."""
    return axis(title, automargin=False, **more)


def layout(height: int, **more: Any) -> dict[str, Any]:
    """Return the base layout, with ``more`` put over it."""
    return {**BASE["layout"], "height": height, **more}
