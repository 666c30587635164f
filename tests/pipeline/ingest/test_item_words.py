"""Item texts of invoices in many hands; what each is follows from its words (common practice, no source)."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest

from pipeline.fields import registry
from pipeline.ingest.item_words import LABOR, NOTHING, SUM, Meaning, meaning_of, weight_unit
from pipeline.ingest.line_items import ROLES
from pipeline.ingest.words import own_words

PARTS = {
    "Run capacitor 45/5 MFD 440V": ("run_capacitor", {"herm": 45, "fan": 5}),
    "DUAL CAP 35/5/440": ("run_capacitor", {"herm": 35, "fan": 5}),
    "Capacitor, 40 MFD 370VAC, round": ("run_capacitor", {"herm": 40}),
    "80+7.5 mfd capacitor": ("run_capacitor", {"herm": 80, "fan": 7.5}),
    "Dual Capacitor 45uF + 5uF 440V": ("run_capacitor", {"herm": 45, "fan": 5}),
    "run cap 5/45": ("run_capacitor", {"herm": 45, "fan": 5}),
    "Fan motor capacitor 7.5 MFD": ("run_capacitor", {"fan": 7.5}),
    "Capacitor for condenser fan motor 5 MFD": ("run_capacitor", {"fan": 5}),
    "Cap, blower 10mfd 370": ("run_capacitor", {"blower": 10}),
    "Capacitor 97F9834 45/5 mfd 440v": ("run_capacitor", {"herm": 45, "fan": 5}),
    "Betriebskondensator 45/5 µF": ("run_capacitor", {"herm": 45, "fan": 5}),
    "Run capacitor": ("run_capacitor", {}),
    "Condenser fan motor 1/4 hp w/ 5 mfd capacitor": ("condenser_fan_motor", {}),
    "Motor, condenser fan, 1/4HP": ("condenser_fan_motor", {}),
    "Blower motor ECM 1/2 hp": ("blower_motor", {}),
    "Contactor 2P 30A 24V coil": ("contactor", {}),
    "Compressor contactor": ("contactor", {}),
    "Compressor R-410A 3 ton": ("compressor", {}),
    "R-410A TXV kit": ("metering_device", {}),
    "4-way valve": ("reversing_valve", {}),
    "Circuit board": ("control_board", {}),
    "T-stat, programmable": ("thermostat", {}),
    "Float switch": ("condensate_drain", {}),
    "Filter drier 3/8": ("filter_drier", {}),
    "Evap coil 3 ton cased": ("evaporator_coil", {}),
    "Line set 3/8 x 3/4": ("line_set", {}),
    "Start capacitor 88-108 MFD": ("start_kit", {}),
    "Hard start kit": ("start_kit", {}),
    "Wire repair": ("wiring", {}),
    "contactor replaced, capacitor checked": ("contactor", {}),
}
NOT_PARTS = {
    "Capacitor test": NOTHING,
    "Check contactor": NOTHING,
    "Thermostat - quote": NOTHING,
    "Refrigerant leak search": NOTHING,
    "Refrigerant recovery": NOTHING,
    "Drain pan tablets": NOTHING,
    "Membership discount": NOTHING,
    "Diagnostic fee": NOTHING,
    "Tune-up": NOTHING,
    "Labor 1.5 hr": LABOR,
    "Labor: replace capacitor 45/5": LABOR,
    "Subtotal": SUM,
    "Filter 16x25x1": None,
    "UV light": None,
    "": None,
    "45/5": None,
    "Model 410-22": None,
}
WEIGHTS = {
    "R-410A refrigerant, lb": 16.0,
    "R-22 refrigerant per lb": 16.0,
    "R410A (per oz)": 1.0,
    "410a 2# 4oz": 36.0,
    "R410A 1 lb 6 oz": 22.0,
    "Refrigerant 410A - 1/2 lb": 8.0,
    "1.5 lb R-32": 24.0,
    "R410a add 3lbs": 48.0,
    "Kältemittel R410A kg": 35.27396,
    "Refrigerant R-454B": None,
}


@pytest.mark.parametrize("text", PARTS)
def test_a_part_is_known_by_its_head_word_and_its_size(text: str) -> None:
    part, sizes = PARTS[text]
    found = meaning_of(text)
    assert (found.part, dict(found.uf)) == (part, sizes)


@pytest.mark.parametrize("text", NOT_PARTS)
def test_what_is_no_part_is_none(text: str) -> None:
    found = meaning_of(text)
    assert (found.part, found.kind) == (None, NOT_PARTS[text])


@pytest.mark.parametrize("text", WEIGHTS)
def test_refrigerant_tells_its_weight_in_lb_oz_kg_or_hash(text: str) -> None:
    # 16 oz to the lb; 1 kg = 1000 / 453.59237 lb
    found = meaning_of(text)
    assert found.part == "refrigerant"
    assert found.ounces_each == (None if WEIGHTS[text] is None else pytest.approx(WEIGHTS[text], abs=1e-4))


def test_a_cylinder_is_no_charge() -> None:
    assert meaning_of("R22 25 lb cylinder").in_container


def test_a_labor_line_tells_the_part_it_was_for() -> None:
    assert meaning_of("Labor: replace capacitor").labor_part == "run_capacitor"


def test_the_shops_own_words_come_first_whole_or_inside() -> None:
    own = own_words({"blue can": "run_capacitor", "freezer gas": "refrigerant", "contactor": ""})
    assert meaning_of("Blue can 45/5", own) == Meaning(part="run_capacitor", uf={"herm": 45.0, "fan": 5.0})
    assert meaning_of("freezer gas 410A 2#", own).ounces_each == 32.0
    assert meaning_of("Contactor", own).kind == NOTHING
    assert meaning_of("bluecan", own).part is None


@pytest.mark.parametrize("text", ["lb", "LBS", "#", "pound"])
def test_a_unit_column_in_pounds_is_known(text: str) -> None:
    assert weight_unit(text) == 16.0


def test_a_unit_that_is_no_weight_is_none() -> None:
    assert weight_unit("ea") is None


def test_a_hostile_text_is_cut() -> None:
    assert meaning_of("capacitor " * 20_000).part == "run_capacitor"
    assert meaning_of("1/" * 50_000).part is None


def test_the_word_list_names_only_words_of_the_contract() -> None:
    text = resources.files("pipeline.reference").joinpath("item_words.toml").read_text("utf-8")
    words = tomllib.loads(text)
    assert set(words["parts"]) <= set(registry()["parts"].fields["part"].allowed)
    causes = set(registry()["visits"].fields["cause"].allowed)
    assert set(words["causes"]) | set(words["cause_of"].values()) <= causes
    assert set(words["columns"]) == set(ROLES)
