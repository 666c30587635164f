"""Words of shops to words of the contract."""

from __future__ import annotations

import pytest

from pipeline.fields import Field, fields_for_file, registry
from pipeline.ingest.words import is_blank, near_words, own_words, word_for, words_for

VISITS = fields_for_file("visits")
PARTS = registry()["parts"].fields
ADVICE = registry()["recommendations"].fields


@pytest.mark.parametrize(
    ("field", "text", "word"),
    [
        ("visit_type", "Maintenance", "maintenance"),
        ("visit_type", "NO COOLING", "no_cooling"),
        ("visit_type", "no-cool", "no_cooling"),
        ("visit_type", "Spring tune-up", "maintenance"),
        ("visit_type", "Wartung", "maintenance"),
        ("visit_type", "mantenimiento", "maintenance"),
        ("visit_type", "Keine Kühlung", "no_cooling"),
        ("visit_type", "No enfría", "no_cooling"),
        ("visit_type", "call-back", "callback"),
        ("cause", "dual cap", "run_capacitor"),
        ("cause", "Verdichter", "compressor"),
        ("cause", "fuga de refrigerante", "refrigerant_leak"),
        ("cause", "NFF", "no_fault_found"),
        ("metering", "piston", "fixed_orifice"),
        ("metering", "TXV", "txv"),
        ("metering", "Kapillarrohr", "fixed_orifice"),
        ("refrigerant", "410A", "R-410A"),
        ("refrigerant", "r410a", "R-410A"),
        ("refrigerant", "R 22", "R-22"),
        ("refrigerant", "HCFC-22", "R-22"),
        ("refrigerant", "R-454b", "R-454B"),
        ("refrigerant", "R-134a", None),
        ("refrigerant", "R-422D", None),
        ("agreement", "Y", "yes"),
        ("agreement", "nein", "no"),
        ("agreement", "Sí", "yes"),
        ("leak_found", "suspected", "suspected"),
        ("equipment", "Heat Pump", "split_heat_pump"),
        ("equipment", "mini-split", "mini_split"),
        ("mode", "Heizen", "heating"),
        ("visit_type", "Spring AC tune-up", "maintenance"),
        ("visit_type", "Preventive Maintenance - Cooling", "maintenance"),
        ("visit_type", "Diagnostic - no cooling", "no_cooling"),
        ("visit_type", "Repair - capacitor", "repair"),
        ("visit_type", "Dépannage", "repair"),
        ("visit_type", "Anlage kühlt nicht", "no_cooling"),
        ("visit_type", "No heat / no cooling", None),
        ("visit_type", "Install - thermostat", None),
        ("visit_type", "Maintenance, repair", None),
        ("visit_type", "Service", None),
        ("visit_type", "AC", None),
        ("visit_type", "zzz", None),
        ("cause", "capacitor bank", None),
    ],
)
def test_one_word(field: str, text: str, word: str | None) -> None:
    assert word_for(text, VISITS[field]) == word


@pytest.mark.parametrize(
    ("text", "known", "strange"),
    [
        ("dirty_filter; oil_stain", "dirty_filter; oil_stain", ()),
        ("Dirty filter, oil", "dirty_filter; oil_stain", ()),
        ("bulged cap | vibration / rust", "swollen_capacitor; vibration; corroded_coil", ()),
        ("vereist; Filter verschmutzt", "iced_coil; dirty_filter", ()),
        ("dirty filter; dirty filter", "dirty_filter", ()),
        ("dirty filter; squirrels", "dirty_filter", ("squirrels",)),
        ("n/a", None, ()),
    ],
)
def test_several_words(text: str, known: str | None, strange: tuple[str, ...]) -> None:
    assert words_for(text, VISITS["observations"], {}) == (known, strange)


def test_the_shops_own_words_come_first() -> None:
    assert words_for("squirrels; oil", VISITS["observations"], own_words({"Squirrels": "other"})) == (
        "other; oil_stain",
        (),
    )


def test_parts_that_are_no_causes() -> None:
    assert word_for("evap coil", PARTS["part"]) == "evaporator_coil"
    assert word_for("hard start kit", PARTS["part"]) == "start_kit"
    assert word_for("evap coil", VISITS["cause"]) is None
    assert word_for("hard start kit", ADVICE["item"]) == "start_kit"


@pytest.mark.parametrize("field", [f for f in VISITS.values() if f.allowed], ids=lambda f: f.name)
def test_every_word_of_the_contract_is_its_own_spelling(field: Field) -> None:
    for word in field.allowed:
        assert word_for(word, field) == word
        assert word_for(word.replace("_", " ").title(), field) == word


def test_near_words_are_only_shown() -> None:
    assert near_words("maintenence", VISITS["visit_type"])[0] == "maintenance"
    assert word_for("maintenence", VISITS["visit_type"]) is None


def test_none_is_a_word_where_it_is_one() -> None:
    assert word_for("none", PARTS["claim_status"]) == "none"
    assert is_blank("none")
    assert not is_blank("none", "text")
