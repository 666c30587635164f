"""Median and tenth-percentile lives by component and make, with intervals, the method and a caveat."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.forecast.spelling import one_spelling
from pipeline.forecast.survival import LEAST_AT_RISK, Curve, kaplan_meier
from pipeline.forecast.weibull import fit_weibull

LIVES_SCHEMA = pl.Schema(
    {
        "component": pl.String,
        "make": pl.String,
        "lives": pl.Int64,
        "failures": pl.Int64,
        "replaced_in_time": pl.Int64,
        "removed_by_choice": pl.Int64,
        "reason_not_known": pl.Int64,
        "years": pl.Float64,
        "method": pl.String,
        "shape": pl.Float64,
        "scale_years": pl.Float64,
        "median_years": pl.Float64,
        "median_low": pl.Float64,
        "median_high": pl.Float64,
        "b10_years": pl.Float64,
        "b10_low": pl.Float64,
        "b10_high": pl.Float64,
        "oldest_seen": pl.Float64,
        "curve_from": pl.Float64,
        "curve_median": pl.Float64,
        "caveat": pl.String,
    }
)
"""One row per component (``unit`` = whole units) and make; make null = all makes. Ages in years, limits 95 %."""

CURVE_SCHEMA = pl.Schema(
    {
        "component": pl.String,
        "age_years": pl.Float64,
        "at_risk": pl.Int64,
        "survival": pl.Float64,
        "survival_low": pl.Float64,
        "survival_high": pl.Float64,
    }
)
"""Kaplan-Meier curve of each component, all makes, at most ``POINTS`` steps."""

POINTS = 60
LEAST_LIVES = 20
LEAST_FAILURES = 5
"""A make with fewer lives, or failures, of a component gets no row of its own (engineering choice)."""


def lifetimes(spans: pl.DataFrame) -> pl.DataFrame:
    """Return ``LIVES_SCHEMA`` for every component, over all makes and by make, sorted by component and make.

    Parameters
    ----------
    spans : DataFrame
        ``lives.SPAN_SCHEMA``.

    Notes
    -----
    Weibull by likelihood with delayed entry where there are failures enough, else with the shape held
    (``weibull.fit_weibull``). A median beyond the oldest age seen is extrapolated, and the caveat says so.
    """
    clean = one_spelling(spans, "make")
    rows = []
    for (component,), group in clean.partition_by("component", as_dict=True).items():
        rows.append({"component": component, "make": None, **_row(group)})
        makes = group.filter(pl.col("make").is_not_null()).partition_by("make", as_dict=True)
        rows += [
            {"component": component, "make": make, **_row(lives)}
            for (make,), lives in makes.items()
            if lives.height >= LEAST_LIVES and lives["failed"].sum() >= LEAST_FAILURES
        ]
    return pl.DataFrame(rows, schema=LIVES_SCHEMA).fill_nan(None).sort("component", "make", nulls_last=False)


def survival_curves(spans: pl.DataFrame) -> pl.DataFrame:
    """Return ``CURVE_SCHEMA``: each component's curve over all makes, thinned."""
    found = []
    for (component,), group in sorted(spans.partition_by("component", as_dict=True).items()):
        curve = _curve(group)
        low, high = curve.limits()
        keep = np.unique(np.linspace(0, curve.age.size - 1, min(POINTS, curve.age.size)).round().astype(int))
        found.append(
            pl.DataFrame(
                {
                    "component": [component] * keep.size,
                    "age_years": curve.age[keep],
                    "at_risk": curve.at_risk[keep].astype(int),
                    "survival": curve.survival[keep],
                    "survival_low": low[keep],
                    "survival_high": high[keep],
                },
                schema=CURVE_SCHEMA,
            )
        )
    return pl.concat(found).fill_nan(None) if found else pl.DataFrame(schema=CURVE_SCHEMA)


def _curve(lives: pl.DataFrame) -> Curve:
    return kaplan_meier(
        lives["entry"].to_numpy(), lives["leave"].to_numpy(), lives["failed"].to_numpy(), least=LEAST_AT_RISK
    )


def _row(lives: pl.DataFrame) -> dict[str, object]:
    curve = _curve(lives)
    law = fit_weibull(*(lives[name].to_numpy() for name in ("entry", "leave", "failed")))
    median, b10 = law.quantile(0.5), law.quantile(0.1)
    oldest = float(lives["leave"].max())  # type: ignore[arg-type]
    ended = dict(lives.group_by("ended_by").len().iter_rows())
    return {
        "lives": lives.height,
        "failures": law.failures,
        "replaced_in_time": ended.get("replaced in time", 0),
        "removed_by_choice": ended.get("removed by choice", 0),
        "reason_not_known": ended.get("reason not known", 0),
        "years": float((lives["leave"] - lives["entry"]).sum()),
        "method": law.method,
        "shape": law.shape,
        "scale_years": law.scale,
        **dict(zip(("median_years", "median_low", "median_high"), median, strict=True)),
        **dict(zip(("b10_years", "b10_low", "b10_high"), b10, strict=True)),
        "oldest_seen": oldest,
        "curve_from": float(curve.age[0]) if curve.age.size else None,
        "curve_median": curve.quantile(0.5)[0] if curve.age.size else None,
        "caveat": _caveat(law.method, law.failures, median[0], oldest),
    }


def _caveat(method: str, failures: int, median: float, oldest: float) -> str | None:
    if method == "no_failures":
        return "no failure seen: only a lower limit can be given"
    said = []
    if method == "shape_held":
        many = "1 failure is" if failures == 1 else f"{failures} failures are"
        said.append(f"{many} too few to fit the shape, which is held at that of wear-out")
    if median > oldest:
        said.append("the median lies beyond the oldest seen and is extrapolated")
    return "; ".join(said) or None
