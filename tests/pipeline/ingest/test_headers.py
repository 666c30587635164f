"""Words of headers to ideas."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.fields import registry
from pipeline.ingest.headers import IDEA_OF_DIMENSION, fold, look_up, normalised, readings_of, vocabulary
from pipeline.ingest.match import candidates


@pytest.mark.parametrize(
    ("text", "folded"),
    [
        ("SuctionLineTempF", "suction line temp f"),
        ("ODTemp", "od temp"),
        ("Außentemperatur", "aussentemperatur"),
        ("Presión (succión)", "presion succion"),
        ("O.D. temp", "od temp"),
        ("R/A DB", "return air db"),
        ("Cap C-H", "cap herm"),
        ("H-C mfd", "herm mfd"),
        ("ΔT", "split"),
        ("S/N", "serial id"),
        ("Ticket #", "ticket id"),
    ],
)
def test_folding(text: str, folded: str) -> None:
    assert fold(text) == folded


@pytest.mark.parametrize(
    ("word", "ideas"),
    [
        ("saugdruck", {"suction", "pressure"}),
        ("flussigkeitsleitungstemperatur", {"liquid", "line", "temp"}),
        ("kaeltemittel", {"refrigerant"}),
        ("unitid", {"unit", "id"}),
        ("tmprtr", {"temp"}),
        ("presure", {"pressure"}),
        ("refriger", {"refrigerant"}),
    ],
)
def test_joined_shortened_and_mistyped_words(word: str, ideas: set[str]) -> None:
    assert look_up(word)[0] == (frozenset(ideas),)


@pytest.mark.parametrize("word", ["wombat", "x", "1042", "qqq"])
def test_unknown_words_stay_unknown(word: str) -> None:
    assert look_up(word)[0] == ()


def test_case_spacing_and_accents_make_no_difference() -> None:
    assert normalised("Return-Air  Temp") == normalised("return_air_temp") == normalised("ReturnAirTemp")


@pytest.mark.parametrize("header", ["Temp", "Pressure", "Amps", "Cap", "Type", "Volts", "Status", "Fan", "Value"])
def test_ambiguous_headers_are_left_to_the_user(header: str) -> None:
    assert all(found.confidence < 0.8 for found in candidates(header, "visits"))


def test_a_target_is_no_reading() -> None:
    assert [found.field for found in candidates("Suction pressure target", "visits") if found.confidence >= 0.8] == []


def test_every_pattern_and_word_of_the_data_files_can_be_met() -> None:
    """A misspelt idea in header_aliases.toml or word in value_words.toml would never match anything."""
    known = set(vocabulary()["words"]) | set(IDEA_OF_DIMENSION.values()) | {"percent"}
    for table, fields in vocabulary()["fields"].items():
        for field, texts in fields.items():
            assert field in registry()[table].fields
            tokens = [token for text in texts for token in text.split() if not token.startswith("@")]
            assert {idea for token in tokens for idea in token.rstrip("?").split("/")} <= known, f"{table}.{field}"
    spec = tomllib.loads(resources.files("pipeline").joinpath("ingest/value_words.toml").read_text("utf-8"))
    used = set(spec["fields"].values()) | {"part_only"}
    allowed = {word for table in registry().values() for field in table.fields.values() for word in field.allowed}
    assert spec["words"].keys() <= used | {"refrigerant"}
    for name in spec["words"].keys() - {"refrigerant"}:
        assert spec["words"][name].keys() <= allowed, name


@settings(deadline=None, max_examples=200)
@given(st.text(max_size=40))
def test_any_text_is_a_header(text: str) -> None:
    for reading in readings_of(text):
        assert 0 <= reading.trust <= 1
    assert all(0 < found.confidence <= 1 for found in candidates(text, "visits"))
