"""Advice covers every cause, warns where someone would act, and reasons split into cause and text."""

from __future__ import annotations

import pytest

from pipeline.enrich.refrigerants import refrigerants
from pipeline.fields import registry
from reports.advice import advice, split_reason, split_reasons


def test_every_cause_has_advice() -> None:
    assert set(registry()["visits"].fields["cause"].allowed) == set(advice())


def test_every_advice_carries_a_caution() -> None:
    assert all(entry.cautions and entry.first and entry.take for entry in advice().values())


@pytest.mark.parametrize(
    "cause", ["run_capacitor", "contactor", "condenser_fan_motor", "compressor", "blower_motor", "other"]
)
def test_where_capacitors_are_near_the_charge_is_warned_of(cause: str) -> None:
    assert any("Discharge" in caution for caution in advice()[cause].cautions)
    assert any("lock it out" in caution for caution in advice()[cause].cautions)


@pytest.mark.parametrize("cause", ["refrigerant_leak", "metering_device", "compressor", "reversing_valve"])
def test_where_the_circuit_is_opened_certified_handling_is_asked_for(cause: str) -> None:
    assert any("certified" in caution for caution in advice()[cause].cautions)


@pytest.mark.parametrize(
    ("reason", "cause", "text"),
    [
        ("run_capacitor: herm 13.5 % low", "run_capacitor", "herm 13.5 % low"),
        ("run_capacitor herm 13.5 % low", "run_capacitor", "herm 13.5 % low"),
        ("run_capacitor", "run_capacitor", ""),
        ("something else", "other", "something else"),
        ("", "other", ""),
        (None, "other", ""),
    ],
)
def test_split_reason(reason: str | None, cause: str, text: str) -> None:
    found = split_reason(reason)
    assert (found.cause, found.text) == (cause, text)


def test_split_reasons_keeps_the_order() -> None:
    assert [reason.cause for reason in split_reasons("compressor: 14 years; run_capacitor: low; ")] == [
        "compressor",
        "run_capacitor",
    ]


def test_a_semicolon_inside_a_reason_does_not_split_it() -> None:
    found = split_reasons("refrigerant_leak: 55 oz added; a tight system needs none; contactor: pitted")
    assert [reason.text for reason in found] == ["55 oz added; a tight system needs none", "pitted"]


def test_the_caution_about_flammable_refrigerants_names_each_that_is_shipped() -> None:
    """Class as in the reference tables (ASHRAE Standard 34, from memory): A1 does not burn, A2L burns slowly."""
    [said] = {text for entry in advice().values() for text in entry.cautions if "flammable" in text}
    burning = {r.name for r in refrigerants().values() if r.safety_class != "A1"}
    assert burning == {r.name for r in refrigerants().values() if r.name in said}
