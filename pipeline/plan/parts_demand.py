"""What a stop is likely to use: one row per unit and part with its chance, from forecasts and open findings."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

import polars as pl

NEEDS_SCHEMA = pl.Schema(
    {
        "unit_id": pl.String(),
        "part": pl.String(),
        "size": pl.String(),
        "first_uf": pl.Float64(),
        "second_uf": pl.Float64(),
        "volts": pl.Float64(),
        "tolerance_pct": pl.Float64(),
        "p_stop": pl.Float64(),
        "p_call": pl.Float64(),
    }
)
"""``p_stop``: chance that a stop before the season replaces it; ``p_call``: that a no-cooling call this season does."""

CAPACITOR = "run_capacitor"
UNKNOWN_VOLTS = 440.0
"""Where no label was written down: a part of the higher rating serves either way (common practice, no source)."""


@cache
def stock_facts() -> Mapping[str, Any]:
    """Return the shipped prices and shares of ``reference/stock_parts.toml``."""
    return tomllib.loads(resources.files("pipeline").joinpath("reference/stock_parts.toml").read_text("utf-8"))


def parts_demand(sections: pl.DataFrame, units: pl.DataFrame, findings: pl.DataFrame) -> pl.DataFrame:
    """Return what each unit may need.

    Parameters
    ----------
    sections
        unit_id, section, rated_uf [uF], volts [V], tolerance_pct [%] of the series in force and p_out_by_season_end.
    units
        unit_id, p_failure, cause_shares (JSON text: cause word to share).
    findings
        Open findings and decisions on parts: unit_id, finding (a part word or a kind of finding), decision.

    Returns
    -------
    pl.DataFrame
        ``NEEDS_SCHEMA``, sorted by unit_id, part, size; rows without any chance left out.

    Notes
    -----
    A can is replaced on a spring stop if one of its sections will be out of tolerance by the end of the season:
    1 − Π(1 − p), sections taken as independent. Hermetic and fan section of one unit are one dual. Parts other than
    capacitors: what stands open on the unit and, else, the chance of a call for that cause. A unit whose rating nobody
    wrote down is spread over the sizes of the others in their proportion.
    """
    shares = _shares(units)
    cans = _cans(sections)
    known = _capacitors(cans, shares)
    return (
        pl.concat([known, _unread(known, units, shares), _other_parts(units, shares, findings)])
        .filter((pl.col("p_stop") > 0) | (pl.col("p_call") > 0))
        .sort("unit_id", "part", "size")
        .match_to_schema(NEEDS_SCHEMA)
    )


def _shares(units: pl.DataFrame) -> pl.DataFrame:
    """Return unit_id, cause, p_cause: the chance of a failure of that cause this season."""
    causes = (CAPACITOR, *stock_facts()["parts"])
    text = pl.col("cause_shares").fill_null("{}")
    return (
        units.select(
            "unit_id",
            pl.col("p_failure").fill_null(0.0),
            *(text.str.json_path_match(f"$.{cause}").cast(pl.Float64, strict=False).alias(cause) for cause in causes),
        )
        .unpivot(list(causes), index=["unit_id", "p_failure"], variable_name="cause", value_name="share")
        .select("unit_id", "cause", p_cause=pl.col("p_failure") * pl.col("share").fill_null(0.0))
    )


def _cans(sections: pl.DataFrame) -> pl.DataFrame:
    """Return one row per can: the dual (or single) at the condenser, and the blower's single."""
    kept = sections.filter(pl.col("rated_uf") > 0).with_columns(
        blower=pl.col("section") == "blower",
        p=pl.col("p_out_by_season_end").fill_null(0.0).clip(0.0, 1.0),
    )
    return (
        kept.group_by("unit_id", "blower")
        .agg(
            first_uf=pl.col("rated_uf").max(),
            second_uf=pl.when(pl.len() > 1).then(pl.col("rated_uf").min()).otherwise(0.0),
            volts=pl.col("volts").max().fill_null(UNKNOWN_VOLTS),
            tolerance_pct=pl.col("tolerance_pct").min().fill_null(6.0),
            p_stop=1.0 - (1.0 - pl.col("p")).product(),
        )
        .sort("unit_id", "blower")
    )


def _capacitors(cans: pl.DataFrame, shares: pl.DataFrame) -> pl.DataFrame:
    calls = shares.filter(pl.col("cause") == CAPACITOR)
    # a call for a capacitor falls on the unit's cans by their chance; the small share stands for sudden opens
    weight = pl.col("p_stop") + 0.05
    return (
        cans.join(calls, on="unit_id", how="left")
        .with_columns(p_call=pl.col("p_cause").fill_null(0.0) * weight / weight.sum().over("unit_id"))
        .select("unit_id", *_capacitor_columns())
    )


def _capacitor_columns() -> list[pl.Expr]:
    return [
        pl.lit(CAPACITOR).alias("part"),
        size_text().alias("size"),
        *(pl.col(name) for name in ("first_uf", "second_uf", "volts", "tolerance_pct", "p_stop", "p_call")),
    ]


def size_text() -> pl.Expr:
    """Return the label's size from first_uf, second_uf and volts, ``45+5 uF 440 V``."""
    first, second, volts = (_plain(name) for name in ("first_uf", "second_uf", "volts"))
    dual = pl.when(pl.col("second_uf") > 0).then(pl.format("+{}", second)).otherwise(pl.lit(""))
    return pl.format("{}{} uF {} V", first, dual, volts)


def _plain(name: str) -> pl.Expr:
    return pl.col(name).round(2).cast(pl.String).str.replace(r"\.0+$", "")


def _unread(known: pl.DataFrame, units: pl.DataFrame, shares: pl.DataFrame) -> pl.DataFrame:
    """Return the units without a known rating, their capacitor calls spread over the fleet's sizes."""
    keys = ["size", "first_uf", "second_uf", "volts", "tolerance_pct"]
    mix = known.group_by(keys).agg(n=pl.len()).with_columns(part_of=pl.col("n") / pl.col("n").sum())
    # a size of less than one unit in a hundred tells nothing about an unknown unit
    mix = mix.filter(pl.col("part_of") >= 0.01).with_columns(part_of=pl.col("part_of") / pl.col("part_of").sum())
    return (
        units.select("unit_id")
        .join(known, on="unit_id", how="anti")
        .join(shares.filter(pl.col("cause") == CAPACITOR), on="unit_id")
        .join(mix, how="cross")
        .with_columns(p_call=pl.col("p_cause") * pl.col("part_of"), p_stop=pl.lit(0.0))
        .select("unit_id", *_capacitor_columns())
    )


def _other_parts(units: pl.DataFrame, shares: pl.DataFrame, findings: pl.DataFrame) -> pl.DataFrame:
    facts = stock_facts()
    found = facts["found"]
    of_part = pl.DataFrame(
        [(part, word) for part, spec in facts["parts"].items() for word in {part, *spec["findings"]}],
        schema={"part": pl.String, "finding": pl.String},
        orient="row",
    )
    chance = (
        pl.when(pl.col("decision").is_in(["approved", "waiting_for_part"]))
        .then(found["approved"])
        .when(pl.col("decision") == "declined")
        .then(found["declined"])
        .otherwise(found["open_finding"])
    )
    told = findings.join(of_part, on="finding").group_by("unit_id", "part").agg(p_open=chance.max())
    calls = shares.filter(pl.col("cause") != CAPACITOR).rename({"cause": "part"})
    return (
        calls.join(told.join(units.select("unit_id"), on="unit_id", how="semi"), on=["unit_id", "part"], how="left")
        .with_columns(p_open=pl.col("p_open").fill_null(0.0))
        .select(
            "unit_id",
            "part",
            pl.lit("").alias("size"),
            *(pl.lit(None, pl.Float64).alias(name) for name in ("first_uf", "second_uf", "volts", "tolerance_pct")),
            p_stop=1.0 - (1.0 - pl.col("p_open")) * (1.0 - pl.col("p_cause")),
            p_call=pl.col("p_cause"),
        )
    )
