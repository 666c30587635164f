"""Print how fault answers do on the simulated fleet: ``python -m tests.benchmarks.measure_charge_faults``."""

from __future__ import annotations

import polars as pl

from pipeline.enrich.charge import charge_readings
from tests.simulators.charge_faults import FIRST, SECOND, THIRD, simulate

ORDER = (
    "undercharge", "overcharge", "liquid_line_restriction", "condenser_fouling", "low_indoor_airflow",
    "compressor_valve_leakage", "non_condensables", "no_fault", "cannot_tell",
)  # fmt: skip


def confusion(rows: pl.DataFrame) -> pl.DataFrame:
    """Return truth by answer in counts."""
    table = rows.pivot("likely_fault", index="fault", values="visit_id", aggregate_function="len").fill_null(0)
    columns = [name for name in ORDER if name in table.columns]
    return table.select("fault", *columns).sort(pl.col("fault").replace_strict({n: i for i, n in enumerate(ORDER)}))


def with_share(found: pl.DataFrame, share: float, seed: int = 3) -> pl.DataFrame:
    """Return the truth of all units in order and of so many faulty ones that ``share`` of the last visits is faulty."""
    sick, well = found.filter(pl.col("fault") != "no_fault"), found.filter(pl.col("fault") == "no_fault")
    return pl.concat([well, sick.sample(round(well.height * share / (1.0 - share)), seed=seed)])


def summary(name: str, rows: pl.DataFrame) -> None:
    """Print shares and calibration of one fleet in two lines."""
    decidable, healthy = rows.filter(pl.col("p_true") >= 0.9), rows.filter(pl.col("fault") == "no_fault")
    faulty = decidable.filter(pl.col("fault") != "no_fault")
    called = healthy.filter(~pl.col("likely_fault").is_in(["no_fault", "cannot_tell"])).height / healthy.height
    starved = rows.filter((pl.col("fault") == "low_indoor_airflow") & (pl.col("charge_verdict") == "high"))
    named = rows.filter(~pl.col("likely_fault").is_in(["no_fault", "cannot_tell"]))
    bins = named.group_by((pl.col("p_fault") * 5).floor().clip(0, 4)).agg(
        said=pl.col("p_fault").mean(), right=pl.col("right").mean(), units=pl.len()
    )
    told = ", ".join(f"{said:.2f}→{right:.2f} ({n})" for _, said, right, n in bins.sort("p_fault").iter_rows())
    print(f"{name}: {rows.height} units, {decidable.height} decidable")
    print(f"   first answer right {decidable['right'].mean():.3f}, among the faulty {faulty['right'].mean():.3f}")
    print(f"   in order called faulty {called:.4f}, low airflow called high {starved.height}")
    print(f"   said and right: {told}")
    parts = faulty.filter(pl.col("severity").is_between(0.14, 0.16)).group_by("metering").agg(pl.col("right").mean())
    print(f"   at 15 %: {dict(parts.sort('metering').iter_rows())}")
    by_fault = faulty.group_by("fault").agg(pl.col("right").mean().round(2)).sort("fault")
    print(f"   by fault: {dict(by_fault.iter_rows())}")


def main() -> None:
    """Print shares, calibration and the confusion matrix: each world as it is, and with a tenth of the units faulty."""
    pl.Config.set_tbl_cols(20).set_tbl_rows(40).set_tbl_width_chars(240).set_tbl_formatting("MARKDOWN")
    for world_name, world, per_fault in (("first", FIRST, 60), ("second", SECOND, 30), ("third", THIRD, 15)):
        for earlier in (0, 3):
            made = simulate(per_fault, seed=77 + earlier, earlier=earlier, world=world)
            for share in (world.faulty_share, 0.1):
                truth = with_share(made.truth, share).select("unit_id", "visit_id", "fault", "severity", "p_true")
                visits = made.visits.join(truth.select("unit_id"), on="unit_id", how="semi")
                found = charge_readings(visits, made.units).join(truth.drop("unit_id"), on="visit_id", how="inner")
                rows = found.with_columns(right=pl.col("likely_fault") == pl.col("fault"))
                summary(f"{world_name} world, {earlier} earlier visits, {share:.0%} faulty", rows)
                if world is FIRST and earlier == 3 and share == world.faulty_share:
                    print(confusion(rows.filter(pl.col("p_true") >= 0.9)))


if __name__ == "__main__":
    main()
