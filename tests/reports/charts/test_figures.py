"""Charts are valid plotly figures, name only colours the style sheet has, and say in words what they show."""

from __future__ import annotations

import datetime as dt
import re
from importlib import resources
from typing import Any

import plotly.graph_objects as go
import polars as pl
import pytest

from reports.charts.bars import range_bar, share, shared_scale
from reports.charts.charge_history import charge_history
from reports.charts.drift_history import FLOOR_PCT, drift_extent, drift_history
from reports.charts.fleet_scatter import fleet_scatter
from reports.charts.funnel import funnel
from reports.charts.survival import DASHES, survival_figure
from reports.charts.theme import BASE, CONFIG, Figure, date_range

TOKENS = ("ink", "muted", "rule", "paper", "mark", "alert", "band", "band-solid", "season")
"""Every colour that a figure may name."""
DATES = ["2022-01-01", "2026-10-30"]
CSS = resources.files("reports").joinpath("assets", "site.css").read_text("utf-8")
AS_OF, START, END = dt.date(2026, 3, 14), dt.date(2026, 5, 1), dt.date(2026, 9, 30)


def reading(year: int, drift: float | None, **changes: Any) -> dict[str, Any]:
    return {
        "visit_date": dt.date(year, 4, 1),
        "series": 1,
        "drift_pct": drift,
        "tolerance_pct": 6.0,
        "measured_uf": 38.0,
        "rated_uf": 40.0,
        "method": "bench",
        "suspect": None,
        "technician": "R. Okafor",
        **changes,
    }


FORECAST = {
    "as_of": AS_OF,
    "season_start": START,
    "season_end": END,
    "drift_pct": -5.0,
    "drift_sd_pct": 1.0,
    "drift_pct_per_year": -2.0,
    "out_earliest": dt.date(2026, 6, 1),
    "out_latest": dt.date(2027, 6, 1),
}


def drift(
    readings: list[dict[str, Any]], forecast: dict[str, Any] | None = None, replaced: list[dt.date] | None = None
) -> Figure | None:
    return drift_history(
        "d", "herm", readings, forecast, replaced or [], DATES, drift_extent(readings, [forecast] if forecast else [])
    )


MAKES = pl.DataFrame(
    {
        "group_value": ["<a href=x>", "Norvane", "Halden"],
        "unit_years": [40.0, 200.0, 300.0],
        "failures": [9, 10, 14],
        "rate_per_100_unit_years": [22.5, 5.0, 4.7],
        "higher": [True, False, False],
    }
)


def curve(make: str | None, failures: int) -> list[dict[str, Any]]:
    steps = [(2.0, None, 0, 1.0, None, None), (6.0, 20, failures - 1, 0.8, 0.6, 0.9)]
    steps.append((9.0, 5, failures, 0.7, 0.5, 0.85))
    names = ("age_years", "at_risk", "failures", "survival", "survival_low", "survival_high")
    return [{"make": make, **dict(zip(names, step, strict=True))} for step in steps]


CURVES = pl.DataFrame(
    [row for n, make in enumerate((None, "<a href=x>", "B", "C", "D", "E")) for row in curve(make, 20 - n)],
    infer_schema_length=None,
)


def figures() -> list[Figure]:
    charge = [
        {
            "visit_date": dt.date(2025, 6, 1),
            "superheat_f": 22.0,
            "target_superheat_f": 11.0,
            "charge_verdict": "low",
            "technician": None,
        },
        {
            "visit_date": dt.date(2025, 7, 1),
            "superheat_f": 9.0,
            "target_superheat_f": None,
            "charge_verdict": "not_testable",
            "technician": "<b>x",
        },
    ]
    units = pl.DataFrame(
        {
            "unit_id": ["a", "b"],
            "flagged": [True, False],
            "p_failure": [0.4, 0.1],
            "make": ["<a href=x>", None],
            "age_years": [12.0, 3.0],
            "units_aged": [2, 2],
        }
    )
    made = [
        drift(
            [
                reading(2023, -2.0),
                reading(2024, -4.0, suspect="copied_rating"),
                reading(2025, -100.0, method="under_load"),
            ],
            FORECAST,
            [dt.date(2024, 1, 1)],
        ),
        charge_history("c", "superheat", charge, DATES),
        fleet_scatter(units, {"a": "a.html"}),
        funnel(MAKES, {"<a href=x>": "rate_rows/a.html"}),
        survival_figure("Contactor", CURVES),
    ]
    return [figure for figure in made if figure]


def with_colours(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: with_colours(item) for key, item in value.items()}
    if isinstance(value, list):
        return [with_colours(item) for item in value]
    return "#123456" if isinstance(value, str) and re.fullmatch(r"@[a-z-]+", value) else value


def colours(value: Any) -> set[str]:
    if isinstance(value, dict):
        return set().union(*(colours(item) for item in value.values()), set())
    if isinstance(value, list):
        return set().union(*(colours(item) for item in value), set())
    return {value[1:]} if isinstance(value, str) and re.fullmatch(r"@[a-z-]+", value) else set()


def test_every_chart_is_a_valid_plotly_figure() -> None:
    made = figures()
    assert len(made) == 5
    for figure in made:
        go.Figure(with_colours({"data": figure.data, "layout": figure.layout}))
        assert colours([figure.spec, BASE]) <= set(TOKENS)
        assert len(figure.alt) > 40


@pytest.mark.parametrize("token", TOKENS)
def test_the_style_sheet_has_every_colour_in_every_scheme(token: str) -> None:
    light, dark = CSS.split("@media (prefers-color-scheme: dark)", 1)
    assert f"--{token}:" in light
    assert f"--{token}:" in dark.split("@media print", 1)[0]


def test_the_tool_bar_is_off() -> None:
    assert CONFIG["displayModeBar"] is False
    assert CONFIG["displaylogo"] is False


def test_an_open_section_does_not_flatten_the_chart() -> None:
    figure = drift([reading(2024, -3.0), reading(2025, -100.0)])
    assert figure is not None
    marks = next(trace for trace in figure.data if trace["mode"] == "markers")
    assert marks["y"] == [-3.0, FLOOR_PCT]
    assert marks["marker"]["symbol"] == ["circle", "triangle-down"]
    assert "−100.0 %" in marks["text"][1]


def test_the_line_breaks_at_a_replacement_and_skips_suspects() -> None:
    rows = [reading(2022, -2.0), reading(2023, -7.0), reading(2024, -0.5, series=2), reading(2025, -1.0, series=2)]
    rows.insert(1, reading(2022, 9.0, suspect="rise"))
    figure = drift(rows)
    assert figure is not None
    lines = [trace["y"] for trace in figure.data if trace["mode"] == "lines"]
    assert lines == [[-2.0, -7.0], [-0.5, -1.0]]


def test_the_band_crosses_the_tolerance_on_the_given_dates() -> None:
    """Lower edge: from −5 − 1.645 = −6.645 (already beyond, so it runs on at the rate); upper edge from −3.355 towards
    −6 on 2027-06-01, 444 days on; by 2026-09-30, 200 days on: −3.355 − 2.645 × 200 / 444 = −4.546."""
    figure = drift([reading(2025, -4.0)], FORECAST | {"out_earliest": AS_OF})
    assert figure is not None
    band = next(trace for trace in figure.data if trace.get("fill"))
    assert band["y"][3] == pytest.approx(-3.355, abs=0.01)
    assert band["y"][2] == pytest.approx(-4.546, abs=0.01)
    assert band["y"][1] == pytest.approx(-6.645 - 2.0 * 200 / 365.25, abs=0.01)


def test_nothing_to_draw_is_no_chart() -> None:
    assert drift([reading(2025, None)], FORECAST) is None
    assert charge_history("c", "superheat", [], []) is None
    assert fleet_scatter(pl.DataFrame(), {}) is None


def test_bars_share_one_scale() -> None:
    assert shared_scale([0.04, 0.09]) == 0.1
    assert shared_scale([0.04, None, 0.3]) == 0.5
    assert shared_scale([]) == 0.1
    bar = range_bar(0.25, 0.1, 0.4, 0.5)
    assert bar is not None
    assert (bar.low, bar.point, bar.high, bar.span) == (20.0, 50.0, 80.0, 60.0)
    assert range_bar(None, None, None, 1.0) is None
    assert share(1, 3) == 33.3
    assert share(1, 0) == 0.0


def test_a_single_visit_still_has_an_axis_of_a_year() -> None:
    """365 days back from the only date, and 20 days of air before, 10 after."""
    assert date_range([dt.date(2026, 3, 14)]) == ["2025-02-22", "2026-03-24"]
    assert date_range([]) == []


def test_survival_says_its_limits_and_where_it_ends_in_words() -> None:
    chart = survival_figure("Contactor", CURVES)
    assert "of those that reached 2.0 years, 70 % (50 to 85 %) at 9.0 years, after 20 failures" in chart.alt
    assert "B 70 % (50 to 85 %) at 9.0 years, after 18 failures" in chart.alt
    lines = [trace for trace in chart.data if "dash" in trace["line"]]
    assert [line["line"]["dash"] for line in lines] == list(DASHES)  # told apart without colour
    assert [line["name"] for line in lines] == ["&lt;a href=x&gt;", "B", "C", "D"]  # those with the most failures
    assert all(trace["line"]["shape"] == "hv" for trace in chart.data)
    assert chart.data[0]["y"] == [100.0, 90.0, 85.0]  # no limits where it begins


def test_a_make_in_the_funnel_opens_its_rows_and_only_where_it_has_some() -> None:
    chart = funnel(MAKES, {"<a href=x>": "rate_rows/a.html"})
    assert chart is not None
    opened = [file for trace in chart.data for file in trace.get("customdata", [])]
    assert opened == [None, None, "rate_rows/a.html"]


def test_two_parts_fitted_within_days_have_two_lines_and_one_label() -> None:
    days = [dt.date(2021, 8, 30), dt.date(2021, 8, 31), dt.date(2024, 6, 24)]
    chart = drift([reading(2025, -2.0)], replaced=days)
    assert chart
    labels = [note["x"] for note in chart.layout["annotations"] if note["text"] == "new part"]
    assert labels == ["2021-08-30", "2024-06-24"]
    assert [shape["x0"] for shape in chart.layout["shapes"] if shape["x0"] in {d.isoformat() for d in days}] == [
        d.isoformat() for d in days
    ]


def test_what_a_page_carries_once_and_what_a_chart_adds_make_the_whole_layout() -> None:
    chart = drift([reading(2025, -2.0)])
    assert chart
    own = chart.spec["layout"]
    axes = {key: {**BASE["axis"], **own[key]} for key in ("xaxis", "yaxis")}
    assert {**BASE["layout"], **own, **axes} == chart.layout
    assert not set(own) & {"font", "hoverlabel", "legend"}
