"""Median and tenth-percentile lives by component and make, with intervals, the method and a caveat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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
        "make": pl.String,
        "failures": pl.Int64,
    }
)
"""Kaplan-Meier curve of each component, over all makes (make null) and by make, at most ``POINTS`` steps. ``failures``
counts those up to the age; the first row of a curve is where it begins, at 1, and has no limits."""

POINTS = 60
LEAST_LIVES = 20
LEAST_FAILURES = 5
"""A make with fewer lives, or failures, of a component gets no row of its own (engineering choice)."""


@dataclass(frozen=True)
class Group:
    """The lives of one component, of one make or (``make`` null) of all."""

    component: str
    make: str | None
    lives: pl.DataFrame
    curve: Curve


def life_groups(spans: pl.DataFrame) -> list[Group]:
    """Return the lives of every component, over all makes and by each make with enough of them.

    Parameters
    ----------
    spans : DataFrame
        ``lives.SPAN_SCHEMA``.
    """
    needed = one_spelling(spans, "make").select("component", "make", "entry", "leave", "failed", "ended_by")
    groups = []
    for (component,), lives in needed.partition_by("component", as_dict=True, maintain_order=True).items():
        counted = lives.group_by("make").agg(many=pl.len(), failures=pl.col("failed").sum())
        enough = counted.filter(
            pl.col("make").is_not_null() & (pl.col("many") >= LEAST_LIVES) & (pl.col("failures") >= LEAST_FAILURES)
        )
        by_make = lives.join(enough.select("make"), on="make", how="semi").partition_by("make", as_dict=True)
        groups.append(Group(str(component), None, lives, _curve(lives)))
        groups += [Group(str(component), str(make), own, _curve(own)) for (make,), own in by_make.items()]
    return sorted(groups, key=lambda group: (group.component, group.make is not None, group.make or ""))


def lifetimes(groups: Sequence[Group]) -> pl.DataFrame:
    """Return ``LIVES_SCHEMA`` for every group of ``life_groups``, in their order.

    Notes
    -----
    Weibull by likelihood with delayed entry where there are failures enough, else with the shape held
    (``weibull.fit_weibull``). A median beyond the oldest age seen is extrapolated, and the caveat says so.
    """
    rows = [{"component": group.component, "make": group.make, **_row(group)} for group in groups]
    return pl.DataFrame(rows, schema=LIVES_SCHEMA).fill_nan(None)


def survival_curves(groups: Sequence[Group]) -> pl.DataFrame:
    """Return ``CURVE_SCHEMA`` for every group of ``life_groups`` in which something failed, in their order.

    Notes
    -----
    A curve begins at the age by which ``LEAST_AT_RISK`` had been met, at 1: it holds for those that reached that age.
    It ends where fewer are left to be watched: a last step among two or three would say nothing.
    """
    found = [_drawn(group) for group in groups]
    return pl.concat([pl.DataFrame(schema=CURVE_SCHEMA), *(frame for frame in found if frame is not None)])


def _drawn(group: Group) -> pl.DataFrame | None:
    curve = group.curve
    thin = curve.at_risk < LEAST_AT_RISK
    steps = int(np.argmax(thin)) if thin.any() else curve.age.size
    if not steps:
        return None
    low, high = curve.limits()
    met = float(np.partition(group.lives["entry"].to_numpy(), LEAST_AT_RISK - 1)[LEAST_AT_RISK - 1])
    left = float(np.partition(group.lives["leave"].to_numpy(), -LEAST_AT_RISK)[-LEAST_AT_RISK])
    keep = np.unique(np.linspace(0, steps - 1, min(POINTS, steps)).round().astype(int))
    last = keep[-1]
    frame = pl.DataFrame(
        {
            "age_years": [min(met, curve.age[0]), *curve.age[keep]],
            "at_risk": [None, *curve.at_risk[keep].astype(int)],
            "survival": [1.0, *curve.survival[keep]],
            "survival_low": [None, *low[keep]],
            "survival_high": [None, *high[keep]],
            "failures": [0, *np.cumsum(curve.failures)[keep].astype(int)],
        }
    )
    if left > curve.age[last] and (steps == curve.age.size or left < curve.age[steps]):
        ending = frame.tail(1).with_columns(age_years=pl.lit(left), at_risk=pl.lit(LEAST_AT_RISK, pl.Int64))
        frame = pl.concat([frame, ending])
    named = frame.with_columns(component=pl.lit(group.component), make=pl.lit(group.make, pl.String))
    return named.select(list(CURVE_SCHEMA)).cast(CURVE_SCHEMA)


def _curve(lives: pl.DataFrame) -> Curve:
    return kaplan_meier(
        lives["entry"].to_numpy(), lives["leave"].to_numpy(), lives["failed"].to_numpy(), least=LEAST_AT_RISK
    )


def _row(group: Group) -> dict[str, object]:
    lives, curve = group.lives, group.curve
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
