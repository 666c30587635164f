"""The simulation stays usable for big fleets: its time grows no faster than the fleet."""

from __future__ import annotations

import time

import pytest

from sample_exports.generator import simulate


@pytest.mark.benchmark
def test_ten_times_the_units_take_at_most_fifteen_times_as_long() -> None:
    def seconds(units: int) -> float:
        start = time.perf_counter()
        simulate(units)
        return time.perf_counter() - start

    seconds(500)
    small, large = min(seconds(3_000) for _ in range(2)), seconds(30_000)
    print(f"3,000 units {small:.2f} s, 30,000 units {large:.2f} s, ratio {large / small:.1f}")
    assert large < 15 * small
