"""A shop that had only addresses and later names its units: what was told before moves to the unit it was told of."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from tests.end_to_end.bringing import Brought, bring
from tests.end_to_end.conftest import ask, run_quietly

NAMES = (
    "visits",
    "units",
    "sites",
    "parts",
    "recommendations",
    "capacitor_readings",
    "core.capacitor_series",
    "charge_readings",
    "open_findings",
    "refrigerant_ledger",
    "suspects",
    "note_readings",
    "units_not_told_apart",
    "rejects",
)
JOBS = """Job #,Date,Customer,Address,Job,Cap Herm,Cap Fan,Notes
1,2023-05-02,Ilka Venn,4 Quarry Lane,Tune-up,43.9,4.8,118/362 sh 12 sc 9
2,2024-05-06,Ilka Venn,4 Quarry Lane,Tune-up,43.1,,"fan 4.7, contactor pitted"
3,2024-06-11,Odo Marsh,7 Quarry Lane,Repair,39.2,4.9,
"""
PARTS = """Job #,Part,Herm uF,Fan uF,Qty
2,run_capacitor,45,5,1
9,contactor,,,1
"""
ADVICE = """Job #,Item,Decision
2,contactor,later
"""
REGISTER = """Unit ID,Serial Number,Address,Model,Cap Herm uF,Cap Fan uF
AC-1,S 100 x,4 quarry ln.,M-36,45,5
AC-2,S200X,7 Quarry Lane,M-24,40,5
"""
LATER = """Job #,Date,Unit ID,Serial,Address,Job,Cap Herm
12,2025-05-09,AC-1,S100X,4 Quarry Lane,Tune-up,42.2
"""
Take = Callable[..., Brought]


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory) -> Take:
    return lambda *batches: bring(tmp_path_factory.mktemp("named"), *batches, names=NAMES)


@pytest.fixture(scope="module")
def whole(take: Take) -> Brought:
    return take(
        {"advice.csv": ADVICE, "jobs.csv": JOBS, "later.csv": LATER, "parts.csv": PARTS, "register.csv": REGISTER}
    )


def same(one: Brought, two: Brought) -> None:
    for name in NAMES:
        left, right = (b.tables[name].select(pl.exclude("import_id")) for b in (one, two))
        assert_frame_equal(left.sort(left.columns), right.sort(right.columns))


def by_unit(found: Brought, table: str) -> dict[str, list[str]]:
    rows = found.tables[table].sort("unit_id", "visit_id").select("unit_id", "visit_id").unique(maintain_order=True)
    return {str(unit): group["visit_id"].to_list() for (unit,), group in rows.group_by("unit_id", maintain_order=True)}


def test_visits_parts_readings_and_advice_are_of_the_named_unit(whole: Brought) -> None:
    assert whole.tables["rejects"].is_empty()
    assert by_unit(whole, "visits") == {"AC-1": ["1", "12", "2"], "AC-2": ["3"]}
    assert by_unit(whole, "capacitor_readings") == {"AC-1": ["1", "12", "2"], "AC-2": ["3"]}
    assert by_unit(whole, "charge_readings") == {"AC-1": ["1"]}
    assert {row["unit_id"] for row in whole.tables["open_findings"].iter_rows(named=True)} <= {"AC-1", "AC-2"}
    assert sorted(whole.tables["units"]["unit_id"]) == ["AC-1", "AC-2"]
    assert whole.tables["sites"].height == 2
    first = whole.tables["capacitor_readings"].filter(pl.col("visit_id") == "1").sort("section")
    assert first["rated_uf"].to_list() == [5.0, 45.0]
    assert first["rated_source"].to_list() == ["register", "register"]
    assert whole.tables["units_not_told_apart"].is_empty()
    assert [text for text in whole.said if "[units-named]" in text] == [
        "2 units known by serial or address alone are named with an id of their own: their 3 visits went there. "
        "[units-named]"
    ]


@pytest.mark.thorough
def test_files_in_any_order_and_increment_answer_as_the_whole_does(whole: Brought, take: Take) -> None:
    files = {"advice.csv": ADVICE, "jobs.csv": JOBS, "later.csv": LATER, "parts.csv": PARTS, "register.csv": REGISTER}
    names = list(files)
    for order in (names[::-1], names[2:] + names[:2]):
        same(take(*({name: files[name]} for name in order)), whole)


def test_the_same_files_again_move_nothing(whole: Brought, take: Take) -> None:
    files = {"jobs.csv": JOBS, "register.csv": REGISTER}
    again = take(files, {"later.csv": LATER}, {"later 2.csv": LATER + "\n"}, {"parts.csv": PARTS, "advice.csv": ADVICE})
    same_visits = again.tables["visits"].select("unit_id", "visit_id", "herm_uf").sort("visit_id")
    assert_frame_equal(same_visits, whole.tables["visits"].select("unit_id", "visit_id", "herm_uf").sort("visit_id"))


@pytest.mark.parametrize(
    ("register", "because", "named"),
    [
        (REGISTER + "AC-3,S300X,4 Quarry Lane,M-36,45,5\n", "several", 2),
        (
            "Unit ID,Serial Number,Address,Installed\nAC-1,S100X,4 Quarry Lane,2024-01-10\nAC-2,S2,7 Quarry Lane,\n",
            "older",
            1,
        ),
    ],
)
def test_what_is_not_beyond_doubt_stays_and_is_listed(take: Take, register: str, because: str, named: int) -> None:
    found = take({"jobs.csv": JOBS, "register.csv": register})
    visits = by_unit(found, "visits")
    assert visits["AC-2"] == ["3"]
    (left,) = [unit for unit in visits if unit.startswith("unit-")]
    assert visits[left] == ["1", "2"]
    listed = found.tables["units_not_told_apart"]
    assert listed.select("unit_id", "address", "units", "because", "visits").rows() == [
        (left, "4 Quarry Lane", named, because, 2)
    ]


def test_a_move_is_taken_back_where_a_second_unit_appears(take: Take) -> None:
    second = "Unit ID,Serial Number,Address\nAC-3,S300X,4 Quarry Lane\n"
    whole = take({"jobs.csv": JOBS, "register.csv": REGISTER, "second.csv": second})
    later = take({"jobs.csv": JOBS, "register.csv": REGISTER}, {"second.csv": second})
    same(later, whole)
    assert later.tables["units_not_told_apart"]["units"].to_list() == [2]


def test_locations_tell_two_units_apart(take: Take) -> None:
    jobs = """Job #,Date,Address,Unit Location,Cap Herm
1,2023-05-02,4 Quarry Lane,Upstairs,43.9
1,2023-05-02,4 Quarry Lane,Downstairs,33.9
2,2024-05-02,4 Quarry Lane,upstairs,43.0
"""
    register = "Unit ID,Address,Unit Location\nUP,4 Quarry Lane,UPSTAIRS\nDOWN,4 Quarry Lane,Downstairs\n"
    found = take({"jobs.csv": jobs, "register.csv": register})
    assert by_unit(found, "visits") == {"DOWN": ["1"], "UP": ["1", "2"]}
    one = take({"jobs.csv": jobs, "register.csv": "Unit ID,Address\nONE,4 Quarry Lane\n"})
    assert set(by_unit(one, "visits")) - {"ONE"} == set(by_unit(one, "visits"))
    assert one.tables["units_not_told_apart"].height == 2


def test_a_ticket_that_tells_of_both_speaks_against_one_unit(take: Take) -> None:
    jobs = """Job #,Date,Address,Serial,Cap Herm
1,2023-05-02,4 Quarry Lane,S100X,43.9
1,2023-05-02,4 Quarry Lane,,33.9
"""
    found = take({"jobs.csv": jobs})
    assert len(by_unit(found, "visits")) == 2
    assert found.tables["units_not_told_apart"]["because"].to_list() == ["together"]


@pytest.mark.thorough
def test_the_same_history_exported_again_with_serials_is_one_history(take: Take) -> None:
    plain = "Date,Address,Cap Herm,Cap Fan\n2023-05-02,4 Quarry Lane,43.9,4.8\n2024-05-03,4 Quarry Lane,43.1,4.7\n"
    serials = "Date,Address,Serial,Cap Herm\n2023-05-02,4 Quarry Lane,S100X,43.9\n2024-05-03,4 Quarry Lane,S100X,43.1\n"
    both = take({"a.csv": plain}, {"b.csv": serials})
    assert both.tables["visits"].sort("visit_date").select("unit_id", "herm_uf", "fan_uf").rows() == [
        ("S100X", 43.9, 4.8),
        ("S100X", 43.1, 4.7),
    ]
    same(take({"b.csv": serials}, {"a.csv": plain}), both)
    same(take({"a.csv": plain, "b.csv": serials}), both)
    named = take({"a.csv": plain}, {"b.csv": serials}, {"c.csv": "Unit ID,Serial\nAC-1,s100x\n"})
    assert named.tables["visits"]["unit_id"].unique().to_list() == ["AC-1"]
    assert named.tables["visits"].height == 2


def test_invoice_lines_move_with_their_parts(take: Take) -> None:
    lines = """Ticket,Date,Customer,Address,Job,Item,Qty,Price
1,2025-06-03,Ilka Venn,4 Quarry Lane,No cool,Service call,1,89
1,2025-06-03,Ilka Venn,4 Quarry Lane,No cool,Dual run capacitor 45/5,1,150
2,2025-06-14,Odo Marsh,7 Quarry Lane,Tune-up,Tune-up,1,129
"""
    found = take({"lines.csv": lines}, {"register.csv": REGISTER})
    assert by_unit(found, "visits") == {"AC-1": ["1"], "AC-2": ["2"]}
    assert found.tables["parts"].select("visit_id", "part").rows() == [("1", "run_capacitor")]
    series = found.tables["core.capacitor_series"].filter(pl.col("unit_id") == "AC-1", pl.col("section") == "herm")
    assert series["start_kind"].to_list()[-1] == "fitted"


@pytest.mark.thorough
def test_the_page_lists_what_waits_and_says_what_to_type(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(JOBS, "utf-8")
    run_quietly([tmp_path / "jobs.csv"], tmp_path / "shop")
    assert "2 units are known by an address alone" in page(tmp_path / "shop")
    (tmp_path / "register.csv").write_text(REGISTER + "AC-3,S300X,4 Quarry Lane,M-36,45,5\n", "utf-8")
    (tmp_path / "parts.csv").write_text(PARTS, "utf-8")
    run_quietly([tmp_path / "register.csv", tmp_path / "parts.csv"], tmp_path / "shop")
    text = page(tmp_path / "shop")
    assert "1 unit is known by an address alone" in text
    assert "2 units are named at this address, and these visits say of none which it was" in text
    assert "Write the unit&#39;s id, serial number or location" in text
    assert "4 Quarry Lane" in text
    assert "1 row of parts on 1 ticket waits for a visit that no file has told of yet" in text
    units = ask(tmp_path / "shop", "unit_risk", "risk_history")
    assert "AC-2" in units["unit_risk"]["unit_id"].to_list()
    assert set(units["risk_history"]["unit_id"]) <= set(units["unit_risk"]["unit_id"])


def page(shop: Path) -> str:
    return max((shop / "dashboards").rglob("data-quality.html"), key=lambda file: file.stat().st_mtime_ns).read_text(
        "utf-8"
    )
