"""Print how the told odds of a leak hold on two simulated fleets: ``python -m tests.benchmarks.measure_leak_odds``."""

from __future__ import annotations

import polars as pl

from tests.simulators.leaks import Leaks, plain_fleet, sample_shop, together


def show(name: str, leaks: Leaks) -> None:
    """Print one fleet's table."""
    held = (leaks.low <= leaks.rate) & (leaks.rate <= leaks.high)
    print(f"\n{name}: {leaks.told.size} units, {leaks.leaking.sum()} leaking, area under the curve {leaks.area():.3f}")
    print(f"90 % intervals that hold the true rate: {held.mean():.3f}, of the leaking {held[leaks.leaking].mean():.3f}")
    print(leaks.table().with_columns(pl.col("told", "leaking").round(3)))


def main() -> None:
    """Print both fleets; seeds that nothing was chosen by."""
    pl.Config.set_tbl_rows(40).set_tbl_formatting("MARKDOWN")
    show("shop of the sample exports", together([sample_shop(seed) for seed in (21, 22, 23)]))
    show("plain fleet", together([plain_fleet(seed) for seed in (7, 8, 9, 10)]))


if __name__ == "__main__":
    main()
