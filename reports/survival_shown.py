"""Which survival curves a page shows, and the table of numbers under each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from reports.advice import label
from reports.charts.survival import survival_figure
from reports.charts.theme import Figure

Row = Mapping[str, Any]
LEAST_FAILURES = 5
"""A component with fewer failures has its line in the table of lives and no curve (engineering choice)."""
MOST_CHARTS = 6
MILESTONES = (1, 2, 3, 5, 7, 10, 12, 15, 20, 25, 30, 40)
"""Ages at which the table reads a curve, in years."""


@dataclass(frozen=True)
class Survival:
    """One component: its chart and the numbers of every curve in it."""

    component: str
    name: str
    chart: Figure
    rows: tuple[Row, ...]


def survival_shown(curves: pl.DataFrame) -> tuple[Survival, ...]:
    """Return the components with failures enough, most failures first.

    Parameters
    ----------
    curves
        The view ``survival_curves``, sorted by component, make (null first) and age.
    """
    found = []
    for (component,), rows in curves.partition_by("component", as_dict=True, maintain_order=True).items():
        whole = rows.filter(pl.col("make").is_null())
        failures = int(whole["failures"].max() or 0) if whole.height else 0  # type: ignore[arg-type]
        if failures >= LEAST_FAILURES:
            name = "Whole unit" if component == "unit" else label(str(component))
            found.append((-failures, Survival(str(component), name, survival_figure(name, rows), _table(rows))))
    return tuple(shown for _, shown in sorted(found, key=lambda item: (item[0], item[1].component))[:MOST_CHARTS])


def _table(curves: pl.DataFrame) -> tuple[Row, ...]:
    """Return each curve at its last step before each milestone, and at its end."""
    rows: list[Row] = []
    for curve in curves.partition_by("make", maintain_order=True):
        steps = [row for row in curve.iter_rows(named=True) if row["at_risk"] is not None]
        ages = [age for age in MILESTONES if age < steps[-1]["age_years"]] if steps else []
        before = [[row for row in steps if row["age_years"] <= age] for age in ages]
        kept = [reached[-1] for reached in before if reached]
        for row in [*kept, *steps[-1:]]:
            if not rows or row is not rows[-1]:
                rows.append(row)
    return tuple(rows)
