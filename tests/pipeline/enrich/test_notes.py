"""The grammar of notes against 919 invented notes with their truth, the sample shop's notes, and laws of its own.

Every expected value here is what a technician reads in the words, written down beside them by hand; the half in
``kept_apart.csv`` was written before the grammar was and the grammar was not written against it. ``many_voices.csv``,
``second_round.csv`` and ``third_round.csv`` were marked before the reader saw them and then learned from;
``held_out.csv`` was written after the first of them, marked, measured and never learned from.
"""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.enrich.notes import mine
from pipeline.enrich.notes.grammar import LONGEST_NOTE, Told, read_note
from pipeline.enrich.notes.lexicon import lexicon, spelt
from pipeline.enrich.notes.limits import limits
from pipeline.enrich.notes.spoken import SPOKEN
from pipeline.fields import registry

NOTES = Path(__file__).parents[2] / "data" / "notes"
SAMPLES = Path(__file__).parents[3] / "sample_exports"
PRECISION, RECALL = 0.99, 0.85
FRESH_PRECISION, FRESH_RECALL = 0.92, 0.82
"""What notes that nothing was learned from gave when they were first measured (92.6 and 82.5 %), rounded down."""


def words_of(one: Told) -> str:
    """Return one thing told as the truth files write it."""
    said = one.said
    if said.kind == "checked":
        return f"checked {said.field}"
    value = "" if said.value is None else f"={said.value:g}"
    return f"{said.field}{value}" + (f" {said.text}" if said.kind == "part" else "")


def told(note: str, refrigerant: str | None = "R-410A") -> list[str]:
    return [words_of(one) for one in read_note(note, refrigerant)]


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def half(name: str) -> list[dict[str, str]]:
    return rows_of(NOTES / f"{name}.csv")


def truth_of(row: dict[str, str]) -> set[tuple[str, str]]:
    """Return (unit's place on the ticket, what is said) of one note."""
    said = set()
    for entry in filter(None, (part.strip() for part in row["truth"].split(";"))):
        unit, _, rest = entry.rpartition(":")
        number = re.search(r"=([\d.]+)", rest)
        said.add((unit or "1", rest.replace(number.group(1), f"{float(number.group(1)):g}") if number else rest))
    return said


def mined_of(rows: list[dict[str, str]]) -> dict[str, set[tuple[str, str]]]:
    """Return what ``mine`` gives to each unit of each note's ticket."""
    visits = [
        {
            "unit_id": f"{row['note_id']}/{place}/",
            "visit_id": row["note_id"],
            "notes": row["note"],
            "refrigerant": row["refrigerant"],
            "unit_location": location or None,
        }
        for row in rows
        for place, location in enumerate(row["units"].split("|"), 1)
    ]
    mined = mine(pl.DataFrame(visits, schema_overrides={"unit_location": pl.String})).filter("attributed")
    out: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for row in mined.iter_rows(named=True):
        value = "" if row["value"] is None else f"={row['value']:g}"
        words = f"checked {row['field']}" if row["kind"] == "checked" else f"{row['field']}{value}"
        words += f" {row['value_text']}" if row["kind"] == "part" else ""
        out[row["visit_id"]].add((row["unit_id"].split("/")[1], words))
    return out


def score(name: str) -> tuple[float, float]:
    rows = half(name)
    mined = mined_of(rows)
    right = sum(len(mined[row["note_id"]] & truth_of(row)) for row in rows)
    found = sum(len(mined[row["note_id"]]) for row in rows)
    there = sum(len(truth_of(row)) for row in rows)
    return right / found, right / there


def test_there_are_300_notes_in_two_halves() -> None:
    """At least 300, neither half under 150, no note twice."""
    one, other = half("written_against"), half("kept_apart")
    assert min(len(one), len(other)) >= 150
    notes = [row["note"] for row in (*one, *other)]
    assert len(set(notes)) >= 300
    assert not {row["note"] for row in one if "=" in row["truth"] and len(row["note"]) > 20} & {
        row["note"] for row in other
    }


@pytest.mark.parametrize("name", ["written_against", "kept_apart", "many_voices", "second_round", "third_round"])
def test_precision_and_recall(name: str, record_property: pytest.RecordProperty) -> None:
    """99 of 100 values taken are what the note says, of the unit it says it of; 85 of 100 values said are taken."""
    precision, recall = score(name)
    record_property("precision", precision)
    record_property("recall", recall)
    assert precision >= PRECISION, f"{name}: precision {precision:.4f}"
    assert recall >= RECALL, f"{name}: recall {recall:.4f}"


def test_fresh_hands_are_read_no_worse_than_when_measured(record_property: pytest.RecordProperty) -> None:
    """The score of notes never learned from: look at it, not at its failures."""
    precision, recall = score("held_out")
    record_property("precision", precision)
    record_property("recall", recall)
    assert precision >= FRESH_PRECISION
    assert recall >= FRESH_RECALL


def test_sample_shops_notes_are_read() -> None:
    """The generator knows what it wrote into each note of the notes-only shop."""
    truth: dict[tuple[str, int], set[tuple[str, float]]] = defaultdict(set)
    for row in rows_of(SAMPLES / ".truth" / "poor_notes.csv"):
        if row["field"] != "cause":
            truth[row["file"], int(row["line"])].add((row["field"], float(row["value"])))
    right = found = there = 0
    for name in ("jobs.csv", "invoice_lines_2025.csv"):
        rows = rows_of(SAMPLES / ".notes_only_shop" / name)
        line, tickets = 2, set()
        for row in rows:
            if row.get("Invoice #") not in tickets or "Invoice #" not in row:
                tickets.add(row.get("Invoice #"))
                ours = {
                    (one.said.field, float(one.said.value or 0.0))
                    for one in read_note(row["Notes"])
                    if one.said.kind in {"reading", "part"}
                }
                want = truth[name, line]
                right, found, there = right + len(ours & want), found + len(ours), there + len(want)
            line += 1 + row["Notes"].count("\n")
    assert there > 1500
    assert right / found >= PRECISION
    assert right / there >= RECALL


READINGS = [
    ("SH 14 SC 9", ["recorded_superheat_f=14", "recorded_subcooling_f=9"]),
    ("14 sh", ["recorded_superheat_f=14"]),
    ("cap 38.2/4.6", ["herm_uf=38.2", "fan_uf=4.6"]),
    ("fan 6 of 7.5", ["fan_uf=6", "cap_fan_uf=7.5"]),
    ("herm 34.6 (40)", ["herm_uf=34.6", "cap_herm_uf=40"]),
    ("118/365", ["suction_psig=118", "liquid_psig=365"]),
    ("split 18", ["recorded_split_f=18"]),
    ("added 1 lb 6 oz R410a", ["refrigerant_added_oz=22"]),
    ("2# 22", ["refrigerant_added_oz=32"]),
    ("wb 67", ["return_wb_f=67"]),
    ("static .8", ["static_in_wc=0.8"]),
    ("supp 54 ret 73", ["supply_db_f=54", "return_db_f=73"]),
    ("cap was 34 now 40.2", ["herm_uf=34", "herm_uf_after=40.2"]),
    ("herm 38.2/40", ["herm_uf=38.2", "cap_herm_uf=40"]),
    ("cap good", ["checked capacitor"]),
    ("new 40/5", []),
    ("new cap 40/5", ["part_cap_herm_uf=40 fitted", "part_cap_fan_uf=5 fitted"]),
    ("installed 40/5", ["part_cap_herm_uf=40 fitted", "part_cap_fan_uf=5 fitted"]),
    ("quoted 40/5", ["part_cap_herm_uf=40 advised", "part_cap_fan_uf=5 advised"]),
    ("needs 40/5", ["part_cap_herm_uf=40 advised", "part_cap_fan_uf=5 advised"]),
    ("herm OL, fan 4.8", ["herm_uf=0", "fan_uf=4.8"]),
    ("target sh 15 actual sh 22", ["recorded_target_superheat_f=15", "recorded_superheat_f=22"]),
    ("supeheat 12, subcoling 8", ["recorded_superheat_f=12", "recorded_subcooling_f=8"]),
]


@pytest.mark.parametrize(("note", "expected"), READINGS, ids=[note for note, _ in READINGS])
def test_note_says(note: str, expected: list[str]) -> None:
    assert told(note) == expected


BOTH = ["part_cap_herm_uf=40 {}", "part_cap_fan_uf=5 {}"]
FITTED, ADVISED = ([part.format(word) for part in BOTH] for word in ("fitted", "advised"))
SIZES = [
    ("new 40/5 cap installed", FITTED),
    ("40/5 cap installed", FITTED),
    ("40/5 in, running", FITTED),
    ("cap 40/5 in stock, installed", FITTED),
    ("changed 35/5 to 40/5", FITTED),
    ("replaced the 35/5 capacitor with a 40/5", FITTED),
    ("old 35/5 out, installed 40/5 440v", FITTED),
    ("put in 40/5/440", FITTED),
    ("puse capacitor 40/5", FITTED),
    ("refused new cap 40/5", ADVISED),
    ("new cap 40/5, customer declined", ADVISED),
    ("40/5 declined", ADVISED),
    ("cap 40/5 on order with supply house", ADVISED),
    ("customer wants a quote on a 40/5", ADVISED),
    ("quoted contactor + 40/5 cap", ADVISED),
    ("37.5/5 cap installed", []),
    ("37.5/5 cap", []),
    ("old 37.5/5 came out", []),
    ("cap 40/5 replaced", []),
    ("cap 40/5", []),
    ("did not install 40/5", []),
    ("cap was replaced with a 40/5 in 2022", []),
    ("10 mfd blower cap", []),
    ("32.5/5 aftermarket cap was in there", []),
    ("failed cap 35/5 replaced with 40/5", FITTED),
    ("found 45/5 cap swollen reading 22/4.1", ["swollen_capacitor", "herm_uf=22", "fan_uf=4.1"]),
    ("the new capacitor (40/5) was installed", FITTED),
    ("previous tech installed a cap 40/5", ["cap_herm_uf=40", "cap_fan_uf=5"]),
    ("cambie el capacitor por uno de 40/5", FITTED),
    ("customer put in a cap 40/5", ["cap_herm_uf=40", "cap_fan_uf=5"]),
    ("cap was a 40/5", ["cap_herm_uf=40", "cap_fan_uf=5"]),
    ("cap is 40/5 and reads 36.1/4.8", ["herm_uf=36.1", "cap_herm_uf=40", "fan_uf=4.8", "cap_fan_uf=5"]),
    ("cap per plate 40/5, 36/4.8", ["cap_herm_uf=40", "cap_fan_uf=5", "herm_uf=36", "fan_uf=4.8"]),
    ("rated 40/5 reads 37.5/5", ["herm_uf=37.5", "cap_herm_uf=40", "fan_uf=5", "cap_fan_uf=5"]),
    ("herm 36.9 fan 4.9 on 40/5", ["herm_uf=36.9", "fan_uf=4.9", "cap_herm_uf=40", "cap_fan_uf=5"]),
]


@pytest.mark.parametrize(("note", "expected"), SIZES, ids=[note for note, _ in SIZES])
def test_a_size_is_a_part_where_a_verb_says_so_and_else_no_reading(note: str, expected: list[str]) -> None:
    assert told(note) == expected


TODAY = [
    ("herm was 42.1 now 38.9", ["herm_uf=38.9"]),
    ("herm was 29.8 now 45.3", ["herm_uf=29.8", "herm_uf_after=45.3"]),
    ("cap read 38/4 last year", []),
    ("cap was 41/5 last year now 38.2/4.9", ["herm_uf=38.2", "fan_uf=4.9"]),
    ("last visit sh 14, today sh 11", ["recorded_superheat_f=11"]),
    ("split 11 before cleaning, 18 after", []),
    ("cap 41 in spring, 38 now", []),
    ("replaced cap, fan now 5.1 herm 45.6", ["fan_uf_after=5.1", "herm_uf_after=45.6"]),
    ("fan motor 1.2 amps fla", []),
    ("comp 12.4 (14.1) fan 1.0 (1.2)", []),
    ("blower 15 mfd 14.2", []),
    ("sc 3 below target", []),
    ("sc 7>10", []),
    ("hard start cap 95 mfd", ["hard_start_kit"]),
    ("est sent: contactor, hard start kit", []),
    ("sc 10 per plate", []),
    ("subcool 10 required", []),
    ("RTN 71 SUP 52", ["return_db_f=71", "supply_db_f=52"]),
    ("xyz 71 SUP 52 OAT 91", ["supply_db_f=52", "outdoor_db_f=91"]),
    ("oat 34 C", []),
    ("airflow 400 cfm/ton", []),
    ("low 118 high 350", ["suction_psig=118", "liquid_psig=350"]),
    ("stat low 70 high 78", []),
    ("supply 54/53 wb", ["supply_db_f=54", "supply_wb_f=53"]),
]


@pytest.mark.parametrize(("note", "expected"), TODAY, ids=[note for note, _ in TODAY])
def test_only_todays_readings_are_taken(note: str, expected: list[str]) -> None:
    assert told(note) == expected


SPOKEN_NOTES = [
    ("capacitor thirty eight point four over four point seven", ["herm_uf=38.4", "fan_uf=4.7"]),
    ("suction one eighteen head three hundred and fifty two", ["suction_psig=118", "liquid_psig=352"]),
    ("suction one oh five head two ninety", ["suction_psig=105", "liquid_psig=290"]),
    ("cap 36 point 2 on the herm", ["herm_uf=36.2"]),
    ("added one pound four ounces", ["refrigerant_added_oz=20"]),
    ("added a pound and a half", ["refrigerant_added_oz=24"]),
    ("added two and a half pounds", ["refrigerant_added_oz=40"]),
    ("added half a pound", ["refrigerant_added_oz=8"]),
    ("gas is ninety dollars a pound", []),
    ("the old one was 31.2", []),
    ("added 500 g of r410a", ["refrigerant_added_oz=17.64"]),  # 500 / 28.349523125 (NIST SP 811)
    ("recovered 1.2 kg", ["refrigerant_recovered_oz=42.33"]),
]


@pytest.mark.parametrize(("note", "expected"), SPOKEN_NOTES, ids=[note for note, _ in SPOKEN_NOTES])
def test_numbers_in_words_and_metric_weights(note: str, expected: list[str]) -> None:
    assert told(note) == expected


NO_READINGS = [
    "call 512-555-0143 or (512) 555 0119",
    "555.0187 ask for wife",
    "16x25x1 filter, two 20 x 20 x 1",
    "8/4 and 11/05/2018, again 6-12-23",
    "arrived 10:30 left 11:45",
    "$118/365 plus tax 8.25%, paid 189.00",
    "model 24ACC636A003 serial 2710E12345",
    "p/n 97F9895, job 20-1184, inv #10442",
    "4412 Birch St apt 12, zip 85032-4410",
    "system from 2014, 3 ton, 14 seer, 1075 rpm, 1/4 hp",
    "24/7 number given",
    "lineset 3/8 x 3/4, 25 ft",
    "40 amp fuses, 60a disconnect, #10 wire",
    "held 300 psi nitrogen, 350 microns",
    "208/230 volt motor",
    "volts 208/230",
    "sh 14 psi, sc 9 mfd, oat 930",
    "holds 6 lb 4 oz, needs 2 lbs R22",
    "sc was 3 now 9",
    "2 fan motors, 3 supply vents, 2 return grilles",
]


@pytest.mark.parametrize("note", NO_READINGS)
def test_what_only_looks_like_a_reading_yields_nothing(note: str) -> None:
    assert told(note) == []


SEEN = [
    ("top of can swollen", ["swollen_capacitor"]),
    ("cap not swollen", []),
    ("no leaks found", []),
    ("contactor pitted, evap iced up, filter dirty", ["pitted_contactor", "iced_coil", "dirty_filter"]),
    ("filter clean, coil clean", []),
    ("no oil, no ice, not pitted", []),
    ("oil stain at flare", ["oil_stain"]),
    ("oiled motor", []),
    ("needs hard start kit", []),
    ("hard start kit installed", ["hard_start_kit"]),
    ("noisy compressor", ["noisy_compressor"]),
    ("noisy blower", []),
    ("coil fins corroded", ["corroded_coil"]),
    ("drain plugged", []),
    ("vibration pads installed", []),
    ("cond fan vibrating", ["vibration"]),
    ("customer says it was frozen last week", []),
    ("if coil ices up call us", []),
]


@pytest.mark.parametrize(("note", "expected"), SEEN, ids=[note for note, _ in SEEN])
def test_note_saw(note: str, expected: list[str]) -> None:
    assert told(note) == expected


def test_pair_of_pressures_goes_by_the_refrigerant() -> None:
    """68/228 psig is R-22 cooling (saturation about 40 and 110 degF); R-410A would be near 26 and 76 degF."""
    assert told("68/228", "R-22") == ["suction_psig=68", "liquid_psig=228"]
    assert told("68/228", "R-410A") == []
    assert told("suction 68 psi, liquid 228 psi", "R-410A") == ["suction_psig=68", "liquid_psig=228"]


@pytest.mark.parametrize("row", half("written_against"), ids=lambda row: row["note_id"])
def test_case_of_letters_says_nothing(row: dict[str, str]) -> None:
    """All capitals and all small letters tell the same."""
    assert told(row["note"].upper(), row["refrigerant"]) == told(row["note"].lower(), row["refrigerant"])


def test_snippet_is_in_the_note_and_value_in_its_range() -> None:
    """Each value stands in the words it is read from, inside its field's range in registry and grammar."""
    for row in (*half("written_against"), *half("kept_apart"), *half("many_voices"), *half("third_round")):
        for one in read_note(row["note"], row["refrigerant"]):
            snippet = row["note"][one.start : one.end]
            assert snippet.strip()
            if one.said.kind == "reading" and one.said.value and "refrigerant" not in one.said.field:
                figures = re.findall(r"\d*\.?\d+", snippet.replace(",", "").replace(" point ", "."))
                in_words = SPOKEN & set(snippet.lower().split())
                assert in_words or any(float(n) == one.said.value for n in figures)
            if one.said.kind == "reading":
                field = registry()["visits"].fields[one.said.field]
                assert isinstance(field.low, (int, float))
                assert isinstance(field.high, (int, float))
                assert field.low <= (one.said.value or 0.0) <= field.high


def test_ranges_lie_inside_the_registrys() -> None:
    for name, (low, high) in limits().fields.items():
        field = registry()["visits"].fields[name]
        assert isinstance(field.low, (int, float))
        assert isinstance(field.high, (int, float))
        assert field.low <= low < high <= field.high


def test_labels_name_fields_of_the_registry() -> None:
    """Every field a label gives is a number field of visits with a range of its own."""
    for label in lexicon().labels.values():
        for field in filter(None, label.fields.values()):
            assert registry()["visits"].fields[field].is_numeric
            assert field in limits().fields


@pytest.mark.parametrize(
    ("written", "meant"),
    [("superheet", "superheat"), ("compresor", "compressor"), ("contacter", "contacter"), ("section", "section")],
)
def test_one_slip_is_mended_and_known_words_stay(written: str, meant: str) -> None:
    assert spelt(written) == meant


@given(st.text(alphabet="abcdefhilmnoprstuw /#.,-:()0123456789\n'\"$%°", max_size=120))
@settings(max_examples=200, deadline=None)
def test_any_text_is_read_without_a_fault(note: str) -> None:
    for one in read_note(note):
        assert 0 <= one.start < one.end <= len(note)


@given(st.sampled_from([row["note"] for row in half("written_against") if not row["units"]]))
@settings(max_examples=60, deadline=None)
def test_a_sentence_without_readings_changes_nothing(note: str) -> None:
    """What is read of a note is read of it with a telephone number and a filter size behind it."""
    assert told(f"{note}. Call 512-555-0143, filter 16x25x1.") == told(f"{note}.")


def test_beyond_the_limit_nothing_is_read() -> None:
    assert told("x " * LONGEST_NOTE + "sh 14") == []
