"""The box at the top of a unit's page: what leads, what else, what to load, what to beware of."""

from __future__ import annotations

from reports.advice import Reason, split_reason
from reports.unit_facts import capacitor_in_place
from reports.unit_todo import todo

CAPACITOR = split_reason("run_capacitor: hermetic section 13.5 % low")
LEAK = split_reason("refrigerant_leak: superheat over target")


def test_the_capacitor_to_load_is_named() -> None:
    assert "On this unit: 40+5 µF, 440 V." in todo(CAPACITOR, [CAPACITOR], None, "40+5 µF, 440 V").take
    assert "On this unit" not in todo(LEAK, [LEAK], None, "40+5 µF, 440 V").take


def test_other_reasons_bring_their_first_step_and_their_cautions() -> None:
    made = todo(CAPACITOR, [CAPACITOR, LEAK], None, "")
    assert [label for label, _ in made.also] == ["Refrigerant charge or leak"]
    assert any("Discharge" in caution for caution in made.cautions)
    assert any("certified" in caution for caution in made.cautions)
    assert len(made.cautions) == len(set(made.cautions))


def test_a_low_charge_is_on_the_list_though_no_reason_says_so() -> None:
    assert [label for label, _ in todo(CAPACITOR, [CAPACITOR], "low", "").also] == ["Refrigerant charge or leak"]
    assert todo(CAPACITOR, [CAPACITOR], "within", "").also == ()
    assert todo(LEAK, [LEAK], "low", "").also == ()


def test_a_section_out_of_tolerance_is_on_the_list_whatever_leads() -> None:
    weak = [("Blower capacitor", "read −8.0 % from its rating")]
    made = todo(LEAK, [LEAK, CAPACITOR], None, "35+5 µF, blower 10 µF", weak)
    assert made.also == tuple(weak)  # in the place of the advice that names no section
    assert "blower 10 µF" in made.take
    assert any("Discharge" in caution for caution in made.cautions)


def test_age_alone_asks_for_all_readings() -> None:
    assert "all readings" in todo(Reason("other", "", ""), [], None, "").first


def unit(**changes: float | None) -> dict[str, float | None]:
    return {"cap_herm_uf": 40.0, "cap_fan_uf": 5.0, "cap_blower_uf": None, "cap_volts": 440.0, **changes}


def test_capacitor_in_place() -> None:
    assert capacitor_in_place(unit(), []) == "40+5 µF, 440 V"
    assert capacitor_in_place(unit(cap_blower_uf=7.5, cap_volts=None), []) == "40+5 µF, blower 7.5 µF"
    assert capacitor_in_place(unit(cap_fan_uf=0.0), []) == "40 µF, 440 V"  # 0 = no such section
    assert capacitor_in_place(unit(cap_herm_uf=None, cap_fan_uf=None), []) == ""


def test_a_fitted_size_counts_before_the_data_plate() -> None:
    readings = [
        {"section": "herm", "rated_uf": 40.0, "rated_source": "register"},
        {"section": "herm", "rated_uf": 45.0, "rated_source": "register"},
    ]
    assert capacitor_in_place(unit(), readings) == "45+5 µF, 440 V"


def test_a_guessed_size_is_said_to_be_one() -> None:
    read = [{"section": "herm", "rated_uf": 45.0, "rated_source": "nearest_size"}]
    assert capacitor_in_place(unit(cap_volts=None), read) == "45+5 µF, guessed from readings, the label decides"
    later = [*read, {"section": "herm", "rated_uf": 45.0, "rated_source": "part"}]
    assert capacitor_in_place(unit(cap_volts=None), later) == "45+5 µF"
