"""The fleet in numbers: the tables below the first lines of the fleet review."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from reports.advice import label, split_reason
from reports.charts.bars import share
from reports.format import count, number


@dataclass(frozen=True)
class Tally:
    """A label with a count, a bar in percent of the longest, and an expected number where there is one."""

    label: str
    units: int
    bar: float
    expected: float | None = None


@dataclass(frozen=True)
class MakeRow:
    """One make: how many units, how many of them flagged, expected calls per 100 units."""

    label: str
    units: int
    flagged: int
    per_100: float
    bar: float


@dataclass(frozen=True)
class YearRow:
    """One calendar year's visits and the causes of its no-cooling calls."""

    year: int
    visits: int
    tune_ups: int
    no_cooling: int
    causes: str


def reasons(frame: pl.DataFrame) -> tuple[Tally, ...]:
    """Return the flagged units by the cause that leads, most first."""
    merged: dict[str, tuple[int, float]] = {}
    for cause, units, expected in frame.select("cause", "units", "expected_failures").iter_rows():
        known = split_reason(cause).cause
        before = merged.get(known, (0, 0.0))
        merged[known] = (before[0] + units, before[1] + expected)
    most = max((units for units, _ in merged.values()), default=0)
    ranked = sorted(merged.items(), key=lambda item: (-item[1][0], item[0]))
    return tuple(Tally(label(cause), units, share(units, most), expected) for cause, (units, expected) in ranked)


def makes(frame: pl.DataFrame) -> tuple[MakeRow, ...]:
    """Return the makes in the order of the frame; nothing where no make is known."""
    if not frame["make"].is_not_null().any():
        return ()
    most = _float(frame["expected_per_100"].max()) or 0.0
    return tuple(
        MakeRow(
            label=f"{count(row['makes'], 'other make')}" if row["is_rest"] else row["make"] or "make not known",
            units=row["units"],
            flagged=row["flagged"],
            per_100=row["expected_per_100"],
            bar=share(row["expected_per_100"], most),
        )
        for row in frame.iter_rows(named=True)
    )


def scatter_rows(ages: pl.DataFrame) -> tuple[tuple[str, str, float, float], ...]:
    """Return the flagged units of the scatter as rows: unit, make, age, chance; at most 25."""
    flagged = ages.filter(pl.col("flagged")).sort("p_failure", "unit_id", descending=[True, False]).head(25)
    return tuple(
        (row["unit_id"], row["make"] or "make not known", row["age_years"], row["p_failure"])
        for row in flagged.iter_rows(named=True)
    )


def years(frame: pl.DataFrame) -> tuple[tuple[YearRow, ...], bool]:
    """Return the calendar years, newest first, and whether the export says why visits were made."""
    rows = []
    for (year,), group in sorted(
        frame.partition_by("calendar_year", as_dict=True).items(), key=lambda item: -item[0][0]
    ):
        calls = group.filter(pl.col("visit_type") == "no_cooling")
        causes = calls.sort("visits", "cause", descending=[True, False], nulls_last=True).iter_rows(named=True)
        rows.append(
            YearRow(
                year=int(year),
                visits=int(group["visits"].sum()),
                tune_ups=int(group.filter(pl.col("visit_type") == "maintenance")["visits"].sum()),
                no_cooling=int(calls["visits"].sum()),
                causes=", ".join(f"{label(c['cause']).lower()} {number(c['visits'])}" for c in list(causes)[:4]),
            )
        )
    return tuple(rows), bool(frame["visit_type"].is_not_null().any())


def bands(frame: pl.DataFrame, column: str) -> tuple[Tally, ...]:
    """Return bands of age with their counts (``column``)."""
    most = _float(frame[column].max()) or 0.0
    return tuple(Tally(row["band"], row[column], share(row[column], most)) for row in frame.iter_rows(named=True))


def _float(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) else None
