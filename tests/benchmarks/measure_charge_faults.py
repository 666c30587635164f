"""Print how fault answers do on the simulated fleet: ``python -m tests.benchmarks.measure_charge_faults``."""

from __future__ import annotations

import polars as pl

from pipeline.enrich.charge import charge_readings
from tests.simulators.charge_faults import FIRST, SECOND, World, simulate

ORDER = (
    "undercharge", "overcharge", "liquid_line_restriction", "condenser_fouling", "low_indoor_airflow",
    "compressor_valve_leakage", "non_condensables", "no_fault", "cannot_tell",
)  # fmt: skip


def answers(per_fault: int, seed: int, earlier: int, world: World = FIRST) -> pl.DataFrame:
    """Return the last visit of each simulated unit with truth and answer."""
    simulated = simulate(per_fault, seed=seed, earlier=earlier, world=world)
    truth = simulated.truth.select("visit_id", "fault", "severity", "p_true")
    found = charge_readings(simulated.visits, simulated.units).join(truth, on="visit_id", how="inner")
    return found.with_columns(right=pl.col("likely_fault") == pl.col("fault"))


def confusion(rows: pl.DataFrame) -> pl.DataFrame:
    """Return truth by answer in counts."""
    table = rows.pivot("likely_fault", index="fault", values="visit_id", aggregate_function="len").fill_null(0)
    columns = [name for name in ORDER if name in table.columns]
    return table.select("fault", *columns).sort(pl.col("fault").replace_strict({n: i for i, n in enumerate(ORDER)}))


def main() -> None:
    """Print shares, the confusion matrix and the calibration."""
    pl.Config.set_tbl_cols(20).set_tbl_rows(40).set_tbl_width_chars(240).set_tbl_formatting("MARKDOWN")
    for name, earlier, world, per_fault in (
        ("first world", 0, FIRST, 60),
        ("first world", 3, FIRST, 60),
        ("second world", 0, SECOND, 30),
        ("second world", 3, SECOND, 30),
    ):
        rows = answers(per_fault, 77 + earlier, earlier, world)
        decidable = rows.filter(pl.col("p_true") >= 0.9)
        healthy = rows.filter(pl.col("fault") == "no_fault")
        called = healthy.filter(~pl.col("likely_fault").is_in(["no_fault", "cannot_tell"])).height / healthy.height
        faulty = decidable.filter(pl.col("fault") != "no_fault")
        print(f"\n{name}, {earlier} earlier visits: {rows.height} units, {decidable.height} decidable")
        print(f"first answer right: {decidable['right'].mean():.3f}, among the faulty {faulty['right'].mean():.3f}")
        print(
            faulty.group_by("metering", "severity")
            .agg(pl.len(), pl.col("right").mean().round(3))
            .sort("metering", "severity")
        )
        print(f"in order but called faulty: {called:.4f}")
        print(confusion(decidable))
        named = rows.filter(~pl.col("likely_fault").is_in(["no_fault", "cannot_tell"]))
        bins = named.group_by((pl.col("p_fault") * 5).floor().clip(0, 4)).agg(
            units=pl.len(), said=pl.col("p_fault").mean().round(3), right=pl.col("right").mean().round(3)
        )
        print(bins.sort("p_fault"))


if __name__ == "__main__":
    main()
