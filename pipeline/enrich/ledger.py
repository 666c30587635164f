"""Refrigerant in and out, by unit and by type, and the leak rate by both published methods.

For almost every home unit the rate is a diagnostic, never a compliance finding; check the rule in force.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pipeline.config import Charge
from pipeline.enrich.refrigerants import refrigerants, spelling_key

LEDGER_SCHEMA: Mapping[str, pl.DataType] = {
    "unit_id": pl.String(),
    "visit_id": pl.String(),
    "visit_date": pl.Date(),
    "refrigerant": pl.String(),
    "added_oz": pl.Float64(),
    "recovered_oz": pl.Float64(),
    "net_oz": pl.Float64(),
    "kind": pl.String(),
    "factory_charge_oz": pl.Float64(),
    "days_since_addition": pl.Int64(),
    "leak_rate_annualized_pct": pl.Float64(),
    "leak_rate_rolling_pct": pl.Float64(),
    "federal_threshold": pl.String(),
}
"""One row per unit and day with refrigerant added or recovered."""

USE_SCHEMA: Mapping[str, pl.DataType] = {
    "month": pl.Date(),
    "refrigerant": pl.String(),
    "visits": pl.Int64(),
    "added_oz": pl.Float64(),
    "recovered_oz": pl.Float64(),
    "net_oz": pl.Float64(),
    "gwp": pl.Float64(),
    "ozone_depleting": pl.Boolean(),
}
"""One row per month and refrigerant: the shop's use and recovery log."""

OPENING_PARTS = (
    "compressor", "evaporator_coil", "condenser_coil", "metering_device", "reversing_valve", "filter_drier", "line_set",
)  # fmt: skip
"""Parts that cannot be fitted without opening the circuit: the recharge that follows says nothing about a leak."""
OPENING_CAUSES = ("compressor", "metering_device", "reversing_valve")
DAYS_IN_WINDOW = 365
FEDERAL_OZONE_LB, FEDERAL_HFC_LB = 50.0, 15.0
"""Full charge [lb] from which a federal leak-rate rule may apply, for refrigerants that deplete ozone and for others
(40 CFR 82.157 and 84.106, from memory); the row only says to check the rule in force."""
OUNCES_PER_LB = 16.0
NO_THRESHOLD = "no federal leak-rate threshold applies to this unit"
CHECK_THE_RULE = "a federal leak-rate rule may apply to a charge of this size: check the rule in force"


def opened_circuits(visits: pl.DataFrame, parts: pl.DataFrame) -> pl.DataFrame:
    """Return unit_id, visit_date of every visit that opened the refrigerant circuit or installed the system.

    A part that needs it, or such a cause with refrigerant recovered.
    """
    by_part = parts.filter(pl.col("part").is_in(OPENING_PARTS)).select("unit_id", "visit_date")
    by_cause = pl.col("cause").is_in(OPENING_CAUSES) & (pl.col("refrigerant_recovered_oz") > 0)
    by_visit = visits.filter(by_cause | (pl.col("visit_type") == "install")).select("unit_id", "visit_date")
    return pl.concat([by_part, by_visit]).drop_nulls().unique().sort("unit_id", "visit_date")


def refrigerant_ledger(
    visits: pl.DataFrame, parts: pl.DataFrame, units: pl.DataFrame, *, settings: Charge | None = None
) -> pl.DataFrame:
    """Return the refrigerant ledger of the units.

    Parameters
    ----------
    visits : pl.DataFrame
        unit_id, visit_id, visit_date, visit_type, cause, refrigerant_added_oz, refrigerant_recovered_oz [oz].
    parts : pl.DataFrame
        unit_id, visit_date, part.
    units : pl.DataFrame
        unit_id, refrigerant, factory_charge_oz [oz].
    settings : Charge, optional
        For the trim that is ignored.

    Returns
    -------
    pl.DataFrame
        ``LEDGER_SCHEMA``, sorted by unit_id, visit_date. kind is ``install``, ``recharge`` (the circuit was opened),
        ``top_up``, ``trim`` or ``recovery``; only top-ups count towards a leak rate, at what was added net.

    Notes
    -----
    Annualizing: percent of the full charge added, over the days since the last addition (365 at most, and where there
    was none before) as a share of 365. Rolling: percent added in the last 365 days. No full charge, no rate.

    References
    ----------
    40 CFR 82.152 and 84.102, as restated in an EPA section 608 study guide, "Leak-Rate Calculation, Recordkeeping, and
    Reporting".
    """
    trim_oz = (settings or Charge()).trim_oz
    opened = opened_circuits(visits, parts).with_columns(opened=True)
    installed = visits.filter(pl.col("visit_type") == "install").select("unit_id", "visit_date").unique()
    added, recovered = pl.col("refrigerant_added_oz").fill_null(0.0), pl.col("refrigerant_recovered_oz").fill_null(0.0)
    days = (
        visits.filter((added > 0) | (recovered > 0))
        .sort("unit_id", "visit_date", "visit_id")
        .group_by("unit_id", "visit_date", maintain_order=True)
        .agg(pl.col("visit_id").first(), added_oz=added.sum(), recovered_oz=recovered.sum())
        .with_columns(net_oz=pl.col("added_oz") - pl.col("recovered_oz"))
        .join(opened, on=["unit_id", "visit_date"], how="left", maintain_order="left")
        .join(installed.with_columns(new=True), on=["unit_id", "visit_date"], how="left", maintain_order="left")
        .join(_facts(units), on="unit_id", how="left", maintain_order="left")
    )
    kind = (
        pl.when(pl.col("new").fill_null(False))
        .then(pl.lit("install"))
        .when(pl.col("opened").fill_null(False))
        .then(pl.lit("recharge"))
        .when(pl.col("net_oz") > trim_oz)
        .then(pl.lit("top_up"))
        .when(pl.col("added_oz") > pl.col("recovered_oz"))
        .then(pl.lit("trim"))
        .otherwise(pl.lit("recovery"))
    )
    rated = days.with_columns(kind=kind).with_columns(_leak_rates_inputs()).with_columns(*_leak_rates())
    return rated.select(*(pl.col(name).cast(dtype) for name, dtype in LEDGER_SCHEMA.items()))


def refrigerant_use(ledger: pl.DataFrame) -> pl.DataFrame:
    """Return the use and recovery log by month and type (``USE_SCHEMA``); everything counts, opened circuits too."""
    facts = pl.DataFrame(
        [(r.name, float(r.gwp), r.ozone_depleting) for r in refrigerants().values()],
        schema={"refrigerant": pl.String, "gwp": pl.Float64, "ozone_depleting": pl.Boolean},
        orient="row",
    )
    use = (
        ledger.group_by(month=pl.col("visit_date").dt.truncate("1mo"), refrigerant=pl.col("refrigerant"))
        .agg(visits=pl.len(), **{name: pl.col(name).sum() for name in ("added_oz", "recovered_oz", "net_oz")})
        .join(facts, on="refrigerant", how="left")
        .sort("month", "refrigerant")
    )
    return use.select(*(pl.col(name).cast(dtype) for name, dtype in USE_SCHEMA.items()))


def _facts(units: pl.DataFrame) -> pl.DataFrame:
    """Return each unit's refrigerant under its shipped name, its full charge and whether ozone is concerned."""
    shipped = refrigerants()
    names = units.get_column("refrigerant").unique().drop_nulls().to_list()
    found = {name: shipped[spelling_key(name)] for name in names if spelling_key(name) in shipped}
    ozone = pl.col("refrigerant").is_in([n for n, r in found.items() if r.ozone_depleting]).fill_null(False)
    return units.select(
        "unit_id",
        pl.col("refrigerant").replace({n: r.name for n, r in found.items()}),
        factory_charge_oz=pl.when(pl.col("factory_charge_oz") > 0).then(pl.col("factory_charge_oz")),
        depletes_ozone=ozone,
    ).unique("unit_id")


def _leak_rates_inputs() -> pl.Expr:
    """Days since the last addition of any kind that left the charge set, trims aside."""
    sets_charge = pl.col("kind").is_in(["top_up", "recharge", "install"])
    last = pl.when(sets_charge).then(pl.col("visit_date")).shift(1).forward_fill().over("unit_id")
    return (pl.col("visit_date") - last).dt.total_days().alias("days_since_addition")


def _leak_rates() -> list[pl.Expr]:
    counted = pl.col("kind") == "top_up"
    leaked = pl.when(counted).then(pl.col("net_oz")).otherwise(0.0)
    days = pl.col("days_since_addition").fill_null(DAYS_IN_WINDOW).clip(1, DAYS_IN_WINDOW)
    full = pl.col("factory_charge_oz")
    rolling = leaked.rolling_sum_by("visit_date", f"{DAYS_IN_WINDOW}d").over("unit_id")
    big_lb = pl.when(pl.col("depletes_ozone")).then(FEDERAL_OZONE_LB).otherwise(FEDERAL_HFC_LB)
    return [
        pl.when(counted)
        .then(100.0 * pl.col("net_oz") / full / (days / DAYS_IN_WINDOW))
        .alias("leak_rate_annualized_pct"),
        pl.when(counted).then(100.0 * rolling / full).alias("leak_rate_rolling_pct"),
        pl.when(full.is_not_null())
        .then(pl.when(full >= big_lb * OUNCES_PER_LB).then(pl.lit(CHECK_THE_RULE)).otherwise(pl.lit(NO_THRESHOLD)))
        .alias("federal_threshold"),
    ]
