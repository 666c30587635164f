"""What shows that a part had failed: the reading farthest off, the cause of the call, a leak; and nothing else."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl

from pipeline.warranty.proof import failed_readings
from tests.builders import make_frame, make_parts
from tests.pipeline.warranty.test_cases import READINGS

ON = dt.date(2025, 7, 4)


def reading(section: str, drift: float | None, **changes: Any) -> dict[str, Any]:
    return {
        "unit_id": "U",
        "visit_id": "V",
        "section": section,
        "drift_pct": drift,
        "tolerance_pct": 6.0,
        "measured_uf": None if drift is None else 40 * (1 + drift / 100),
        "rated_uf": 40.0,
        "is_new_part": False,
        **changes,
    }


def proof(part: str, readings: list[dict[str, Any]], **visit: Any) -> dict[str, Any]:
    found = failed_readings(
        make_parts([{"unit_id": "U", "visit_id": "V", "visit_date": ON, "part": part}]),
        make_frame("visits", [{"unit_id": "U", "visit_id": "V", "visit_date": ON, **visit}]),
        pl.DataFrame(readings, schema=READINGS),
    )
    assert found.height == 1
    return found.row(0, named=True)


def test_the_reading_farthest_off_speaks_for_the_capacitor():
    row = proof("run_capacitor", [reading("herm", -9.0), reading("fan", -20.0), reading("blower", 3.0)])
    assert (row["reading_pct"], row["tolerance_pct"]) == (-20.0, 6.0)
    assert row["evidence"] == "fan section read 32.0 of 40.0 uF (-20.0 %)"


def test_the_reading_of_the_new_part_and_of_other_visits_prove_nothing():
    rows = [reading("herm", -50.0, is_new_part=True), reading("herm", -50.0, visit_id="other"), reading("fan", None)]
    assert proof("run_capacitor", rows)["evidence"] is None


def test_a_capacitor_reading_proves_no_other_part():
    assert proof("contactor", [reading("herm", -50.0)])["evidence"] is None


def test_the_cause_of_the_call_speaks_for_its_part_only():
    told = "no-cooling call on 2025-07-04, cause contactor"
    assert proof("contactor", [], visit_type="no_cooling", cause="contactor")["evidence"] == told
    assert proof("run_capacitor", [], visit_type="no_cooling", cause="contactor")["evidence"] is None
    assert proof("contactor", [], visit_type="repair", cause="contactor")["evidence"].startswith("repair on")


def test_a_leak_speaks_for_parts_of_the_circuit_and_only_if_found():
    assert proof("evaporator_coil", [], leak_found="yes")["evidence"] == "leak found on 2025-07-04"
    assert proof("evaporator_coil", [], leak_found="suspected")["evidence"] is None
    assert proof("control_board", [], leak_found="yes")["evidence"] is None


def test_reading_and_cause_stand_together():
    row = proof("run_capacitor", [reading("herm", -9.5)], visit_type="no_cooling", cause="run_capacitor")
    assert row["evidence"] == (
        "hermetic section read 36.2 of 40.0 uF (-9.5 %); no-cooling call on 2025-07-04, cause run capacitor"
    )


def test_two_rows_of_one_part_have_one_proof():
    parts = make_parts([{"unit_id": "U", "visit_id": "V", "visit_date": ON, "part": "run_capacitor"}] * 2)
    visits = make_frame("visits", [{"unit_id": "U", "visit_id": "V", "visit_date": ON}])
    assert failed_readings(parts, visits, pl.DataFrame([reading("herm", -9.0)], schema=READINGS)).height == 1
