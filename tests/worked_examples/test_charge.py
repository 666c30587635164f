"""Superheat and subcooling of ``charge.csv``, each row with its source."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pipeline.enrich.charge import charge_readings
from tests.builders import make_frame
from tests.charge_states import unit

CASES = pl.read_csv(Path(__file__).with_name("charge.csv"), comment_prefix="#").rows(named=True)


@pytest.mark.parametrize("case", CASES, ids=[c["case"] for c in CASES])
def test_worked_superheat_and_subcooling(case) -> None:
    given = ("altitude_ft", "suction_psig", "suction_line_f", "liquid_psig", "liquid_line_f")
    visit = {"unit_id": "U1", "visit_id": "V1", **{name: case[name] for name in given}}
    units = make_frame("units", [unit(refrigerant=case["refrigerant"])])
    row = charge_readings(make_frame("visits", [visit]), units).row(0, named=True)
    for name in ("superheat_f", "subcooling_f"):
        assert row[name] == (None if case[name] is None else pytest.approx(case[name], abs=0.011))
