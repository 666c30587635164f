"""The rows behind a figure of the parts and makes page that is not a rate: each with its place in the files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import label
from reports.format import file_stem, kept_together, reason_text, section, sentence_start
from reports.page import Page, Site

SHOWN_BY = (
    "parts_and_makes_lives",
    "parts_and_makes_trend",
    "parts_and_makes_callbacks",
    "parts_and_makes_hazards",
    "parts_and_makes_quality",
    "parts_and_makes_gathered",
)
"""Queries of the page whose lines lead here."""
PAGE = Page(
    slug="figure_rows",
    title="Rows behind a figure",
    order=95,
    queries={"figure_rows": (), **dict.fromkeys(SHOWN_BY, ())},
    many=True,
)

Row = Mapping[str, Any]


@dataclass(frozen=True)
class FigureRows:
    """One figure and the rows behind it."""

    file: str
    heading: str
    anchor: str
    rows: tuple[Row, ...]
    in_all: int
    dated: bool
    of_visits: bool


def figure_file(figure: str) -> str:
    """Return the file of a figure's rows; a digest, as a figure's name may hold anything."""
    return f"{file_stem(figure, readable=False)}.html"


def figures_of(frames: Mapping[str, pl.DataFrame]) -> Mapping[str, str]:
    """Return the figures that have a line on the page and rows behind it, each with its file."""
    lives, trend, back, out, drift, gathered = (list(frames[query].iter_rows(named=True)) for query in SHOWN_BY)
    shown = {"repairs"} if gathered else set()
    shown |= {f"lives {row['component']} {row['make'] or ''}" for row in lives}
    shown |= {f"season {row['season_start']}" for row in trend}
    shown |= {f"back {row['group_by']} {row['who']}" for row in back}
    shown |= {f"out {row['section']}" for row in out}
    shown |= {f"drift {row['part_make']}" for row in drift}
    present = frames["figure_rows"]["figure"].unique(maintain_order=True)
    return {figure: figure_file(figure) for figure in present if figure in shown}


def build(frames: Mapping[str, pl.DataFrame], site: Site) -> Iterator[FigureRows]:
    """Yield one context per figure."""
    by_figure = frames["figure_rows"].partition_by("figure", as_dict=True)
    for figure, file in figures_of(frames).items():
        rows = by_figure[(figure,)]
        heading, anchor = _heading(figure)
        yield FigureRows(
            file=file,
            heading=heading,
            anchor=anchor,
            rows=tuple(_told(row, site) for row in rows.iter_rows(named=True)),
            in_all=int(rows["in_all"][0]),
            dated=rows["on_day"].count() > 0,
            of_visits=rows["visit_id"].count() > 0,
        )


def _told(row: Row, site: Site) -> Row:
    """Return the row in words; an amount has the shop's currency."""
    money = f" {site.currency}" if ", invoiced " in row["told"] else ""
    return {**row, "told": kept_together(sentence_start(reason_text(row["told"] + money)))}


def _heading(figure: str) -> tuple[str, str]:
    """Return the heading of a figure and the section of the page it stands in."""
    kind, _, rest = figure.partition(" ")
    if kind == "lives":
        component, _, make = rest.partition(" ")
        what = "Whole units" if component == "unit" else label(component)
        return f"{what}{f' of {make}' if make else ''}: lives that ended", "lives"
    if kind == "season":
        return f"No-cooling calls of the season from {reason_text(rest)}", "trend"
    if kind == "back":
        group, _, who = rest.partition(" ")
        return f"{label(who) if group == 'component' else who}: in trouble again within 90 days", "back"
    if kind == "out":
        return f"{sentence_start(section(rest))} sections out of tolerance or failed", "hazards"
    if kind == "drift":
        return f"Drift of capacitors: {rest}", "quality"
    return "Repairs and no-cooling calls", "gathered"
