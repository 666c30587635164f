"""The split of the odds by cause, and what of it a stop prevents, by hand."""

from __future__ import annotations

import json

import numpy as np
import polars as pl
import pytest

from pipeline.config import Flagging
from pipeline.forecast.causes import cause_shares, learn_base_causes, prevention_share

ROW = np.array([[0.02, 0.01, 0.01, 0.0, 0.01, 0.05]])
"""Hermetic, fan, charge, added, compressor, everything else: 0.10 in all."""


def test_shares_add_up_by_word() -> None:
    """Of 0.10: capacitor .03 + .2 x .05 = .04, leak .01, compressor .01, contactor .8 x .05 = .04."""
    found = json.loads(cause_shares(ROW, {"run_capacitor": 0.2, "contactor": 0.8})[0])
    assert found == pytest.approx({"compressor": 0.1, "contactor": 0.4, "refrigerant_leak": 0.1, "run_capacitor": 0.4})


def test_a_stop_prevents_what_a_state_foretells() -> None:
    """(.03 x .8 + .01 x .6 + .01 x .2 + .05 x .3) / .10 = .47."""
    flagging = Flagging(
        prevention_run_capacitor=0.8,
        prevention_refrigerant_leak=0.6,
        prevention_compressor=0.2,
        prevention_share=0.3,
    )
    assert prevention_share(ROW, flagging) == pytest.approx([0.47])


def test_what_states_do_not_foretell_goes_to_its_cause() -> None:
    """1,000 unit-seasons foretell 30 capacitor failures, 80 happen: 50 go to the rest, beside 100 contactors."""
    hazards = np.tile(ROW, (1000, 1))
    causes = pl.Series("failed_cause", ["run_capacitor"] * 80 + ["contactor"] * 100 + [None] * 20, dtype=pl.String)
    found = learn_base_causes(hazards, causes)
    assert sum(found.values()) == pytest.approx(1.0)
    # pseudo-failures: 20 x .2 capacitor, 20 x .2 contactor, 20 x .25 other, of 50 + 100 + 20 + 20 in all
    assert found["run_capacitor"] == pytest.approx((50 + 4) / 190)
    assert found["contactor"] == pytest.approx((100 + 4) / 190)
    assert found["other"] == pytest.approx((20 + 5) / 190)
