"""The whole round of a small shop: who is on it, what was promised, and every kind of bad input."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import polars as pl
import pytest

from pipeline.config import Technician
from pipeline.plan.frames import LEFT_OUT_SCHEMA, ROUTE_STOPS_SCHEMA
from tests.small_shop import IDA, MONDAY, SITES, known, plan, sites


def why(found, unit: str) -> str:
    return found.left_out.filter(pl.col("unit_id") == unit)["why"].item()


def row(found, unit: str) -> dict:
    return found.route_stops.row(by_predicate=pl.col("unit_id") == unit, named=True)


def test_everybody_due_is_on_a_route_and_those_of_one_address_follow_each_other() -> None:
    found = plan()
    assert found.route_stops.schema == ROUTE_STOPS_SCHEMA
    assert found.left_out.schema == LEFT_OUT_SCHEMA
    assert sorted(found.route_stops["unit_id"]) == ["U1", "U2", "U3", "U4", "U5"]
    assert found.left_out.is_empty()
    assert found.notes == ()
    first, second = sorted((row(found, "U1"), row(found, "U5")), key=lambda r: r["stop"])
    assert (second["date"], second["stop"], second["drive_minutes"]) == (first["date"], first["stop"] + 1, 0.0)
    assert set(found.route_stops["status"]) == {"to_book"}
    assert all(date.weekday() in (0, 1) for date in found.route_stops["date"])


def test_the_value_is_what_going_before_the_season_is_expected_to_save() -> None:
    """U1: 0.30 × 0.8 × (720 + 60 + 40) = 196.80. U2: 0.05 × 0.3 × 820 = 12.30, and 150 for the agreement visit."""
    found = plan()
    assert row(found, "U1")["value"] == pytest.approx(196.80)
    assert row(found, "U2")["value"] == pytest.approx(162.30)
    assert row(found, "U1")["work"] == "capacitor"
    assert row(found, "U2")["work"] == "tune_up"
    assert "agreement visit" in row(found, "U2")["reasons"]


def test_an_agreement_visit_made_this_spring_is_not_due_again() -> None:
    made = {
        "unit_id": ["U2"],
        "visit_date": [dt.date(2026, 3, 1)],
        "visit_type": ["maintenance"],
        "outdoor_db_f": [60.0],
    }
    assert "U2" not in plan(known(visits=pl.DataFrame(made))).route_stops["unit_id"]


def test_what_is_booked_is_kept_to_the_day_and_the_hour() -> None:
    tuesday = MONDAY + dt.timedelta(days=15)
    found = plan(
        promised=[{"unit_id": "U4", "date": str(tuesday), "from": "13:00", "to": "1:30 pm", "technician": "Ida"}]
    )
    booked = row(found, "U4")
    assert (booked["date"], booked["status"]) == (tuesday, "booked")
    assert "13:00" <= booked["arrive"] <= "13:30"
    assert found.notes == ()


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"date": "2026-03-01"}, 'line 2, column "date": 2026-03-01 is past'),
        ({"date": "2026-04-08", "from": "09:00", "to": "10:00"}, "no shift can reach it"),  # a Wednesday
        ({"date": "2026-04-06", "from": "07:00", "to": "07:30"}, "no shift can reach it"),
        ({"date": "2026-06-02"}, "is not in this round"),
        ({"date": "soon"}, "'soon' is not a date"),
        ({"date": "2026-04-06", "from": "late"}, "'late' is not a time"),
        ({"date": "2026-04-06", "from": "11:00", "to": "10:00"}, "'10:00' is not a time after"),
        ({"date": "2026-04-06", "technician": "Nobody"}, "'Nobody' is not in settings.toml"),
        ({"date": "2026-04-06", "status": "perhaps"}, "'perhaps' is none of booked"),
        ({"unit_id": "U9", "date": "2026-04-06"}, "'U9' is no unit under care"),
    ],
)
def test_an_appointment_that_cannot_be_kept_is_one_sentence_and_the_rest_is_planned(cells, said) -> None:
    found = plan(promised=[{"unit_id": "U4"} | cells])
    assert len(found.notes) == 1
    assert said in found.notes[0]
    assert "appointments.csv line 2" in found.notes[0]
    assert {"U1", "U2", "U3", "U5"} <= set(found.route_stops["unit_id"])
    assert set(found.route_stops["unit_id"]) | set(found.left_out["unit_id"]) == {"U1", "U2", "U3", "U4", "U5"}


def test_a_booked_unit_out_of_reach_is_left_out_and_never_moved() -> None:
    found = plan(promised=[{"unit_id": "U4", "date": "2026-04-08"}])
    assert why(found, "U4").startswith("booked on 2026-04-08")


def test_a_declined_visit_is_left_out_and_no_answer_stays_to_book() -> None:
    found = plan(promised=[{"unit_id": "U4", "status": "declined"}, {"unit_id": "U1", "status": "no answer"}])
    assert "declined" in why(found, "U4")
    assert row(found, "U1")["status"] == "to_book"


def test_a_site_without_a_place_is_listed_with_why() -> None:
    found = plan(known(sites=sites(SITES | {"S4": (None, None)}, {"S4": "99999"})))
    assert why(found, "U4") == "no place: site S4: it has no coordinates and its postal code is not known"


def test_a_site_without_a_place_is_said_with_its_row() -> None:
    found = plan(known(sites=sites(SITES | {"S4": (None, None)})))
    assert found.notes == (
        "sites.csv line 5, site S4: no coordinates, and the postal code is not known; nobody can be sent there. "
        "Give latitude and longitude, or the postal code. [place]",
    )
    assert sorted(found.route_stops["unit_id"]) == ["U1", "U2", "U3", "U5"]


def test_many_sites_without_a_place_are_one_sentence() -> None:
    lost = known(sites=sites(dict.fromkeys(SITES, (None, None))))
    found = plan(lost)
    assert found.route_stops.is_empty()
    assert [note for note in found.notes if "nobody can be sent" in note] == list(found.notes)
    assert "sites.csv line 2, site S1; sites.csv line 3, site S2" in found.notes[0]


EAST = {name: (lat, lon + 16) for name, (lat, lon) in SITES.items()}  # longitudes that can be latitudes too
EASTERN = IDA.model_copy(update={"start_lon": -75.4})
CODES = dict.fromkeys(SITES, "00101")


def test_a_file_with_latitude_and_longitude_exchanged_is_told_by_its_postal_codes() -> None:
    """Every site turned: the middle turns with them, and only the codes can tell."""
    centroids = lambda codes: {code: (27.5, -75.4) for code in codes if code == "00101"}  # noqa: E731
    right = plan(known(sites=sites(EAST, CODES)), technicians=(EASTERN,), centroids=centroids)
    turned = sites({name: place[::-1] for name, place in EAST.items()}, CODES)
    found = plan(known(sites=turned), technicians=(EASTERN,), centroids=centroids)
    assert right.notes == ()
    assert found.route_stops.equals(right.route_stops)
    assert found.notes == (
        "sites.csv: by their postal codes the latitudes and longitudes of 4 sites stand the other way round and are "
        "used so. Exchange the two columns. [place]",
    )
    assert set(found.placed["how"]) == {"turned"}


def test_a_file_from_elsewhere_is_not_turned_because_its_codes_mean_nothing_here() -> None:
    """Sites at 47 degrees north and 9 degrees east with five-digit codes that are somebody else's."""
    abroad = {name: (lat + 20, lon + 100) for name, (lat, lon) in SITES.items()}
    start = IDA.model_copy(update={"start_lat": 47.5, "start_lon": 8.6})
    centroids = lambda codes: dict.fromkeys(codes, (40.7, -73.9))  # noqa: E731
    found = plan(known(sites=sites(abroad, CODES)), technicians=(start,), centroids=centroids)
    assert found.notes == ()
    assert set(found.placed["how"]) == {"coordinates"}
    assert found.route_stops.height == 5


def test_filled_in_zeros_do_not_draw_the_middle_into_the_sea() -> None:
    """Three sites of four at 0, 0, as some exports write a blank: the fourth is right, they go by their code."""
    at_sea = dict.fromkeys(SITES, (0.0, 0.0)) | {"S1": SITES["S1"]}
    found = plan(known(sites=sites(at_sea, dict.fromkeys(SITES, "00100"))))
    assert dict(found.placed.select("site_id", "how").iter_rows()) == {
        "S1": "coordinates",
        "S2": "postal_code",
        "S3": "postal_code",
        "S4": "postal_code",
    }
    assert found.route_stops.height == 5
    assert sum("lie far from all other sites" in note for note in found.notes) == 3


@pytest.mark.parametrize(
    ("start", "said"),
    [
        ((-75.4, 27.5), "has latitude and longitude the other way round and is used so"),
        ((0.0, 0.0), "0, 0, lies more than 200 miles from the sites; their middle is used"),
    ],
)
def test_a_start_place_that_cannot_be_is_said_and_the_round_is_planned(start, said) -> None:
    lost = IDA.model_copy(update={"start_lat": start[0], "start_lon": start[1]})
    found = plan(known(sites=sites(EAST)), technicians=(lost,))
    assert len(found.notes) == 1
    assert found.notes[0].startswith("settings.toml, technicians: the start place of Ida")
    assert said in found.notes[0]
    assert found.route_stops.height == 5


def test_two_appointments_that_clash_keep_one_and_name_the_other() -> None:
    hour = {"date": "2026-04-06", "from": "09:00", "to": "09:10", "technician": "Ida"}
    found = plan(promised=[{"unit_id": "U2"} | hour, {"unit_id": "U4"} | hour])
    assert len(found.notes) == 1
    kept, lost = ("U2", "U4") if "unit U4" in found.notes[0] else ("U4", "U2")
    lines = {"U2": 2, "U4": 3}
    assert found.notes[0].startswith(
        f"appointments.csv line {lines[lost]}, unit {lost}: booked on 2026-04-06, and the appointments of line "
        f"{lines[kept]} leave no time for it"
    )
    assert row(found, kept)["status"] == "booked"
    assert {"U1", "U3", "U5"} <= set(found.route_stops["unit_id"])


def test_one_unit_booked_twice_keeps_the_later_line() -> None:
    twice = [{"unit_id": "U4", "date": "2026-04-06"}, {"unit_id": "U4", "date": "2026-04-07"}]
    found = plan(promised=twice)
    assert len(found.notes) == 1
    assert "line 3, unit U4 is on line 2 too; the later line counts" in found.notes[0]
    assert row(found, "U4")["date"] == dt.date(2026, 4, 7)


def test_an_appointment_at_a_site_without_a_place_is_said() -> None:
    lost = known(sites=sites(SITES | {"S4": (None, None)}))
    found = plan(lost, promised=[{"unit_id": "U4", "date": "2026-04-06"}])
    assert any(note.startswith("appointments.csv line 2, unit U4: no place: site S4") for note in found.notes)


def test_an_appointment_on_days_when_nobody_works_is_said() -> None:
    idle = IDA.model_copy(update={"days": ("sun",)})
    found = plan(
        technicians=(idle,), first_day=MONDAY, last_day=MONDAY, promised=[{"unit_id": "U4", "date": "2026-04-06"}]
    )
    assert any("appointments.csv line 2, unit U4: nobody works on the days" in note for note in found.notes)


def test_a_site_is_placed_by_its_postal_code() -> None:
    found = plan(known(sites=sites(SITES | {"S4": (None, None)}, {"S4": "100"})))
    assert row(found, "U4")["drive_minutes"] >= 5.0


def test_coordinates_the_wrong_way_round_are_used_the_right_way_and_said() -> None:
    east = {name: (lat, lon + 30) for name, (lat, lon) in SITES.items()}  # a longitude that can be a latitude too
    right = plan(known(sites=sites(east)), technicians=(IDA.model_copy(update={"start_lon": -61.4}),))
    turned = sites(east | {"S4": east["S4"][::-1]})
    found = plan(known(sites=turned), technicians=(IDA.model_copy(update={"start_lon": -61.4}),))
    assert found.route_stops.equals(right.route_stops)
    assert len(found.notes) == 1
    assert found.notes[0].startswith("sites.csv line 5, site S4: the coordinates -61.43, 27.53 lie far from")


def test_coordinates_in_the_sea_fall_back_to_the_postal_code_or_are_listed() -> None:
    at_sea = SITES | {"S4": (0.0, 0.0)}
    by_code = plan(known(sites=sites(at_sea, {"S4": "00100-1234"})))
    assert "the middle of its postal code is used" in by_code.notes[0]
    assert "U4" in set(by_code.route_stops["unit_id"])
    lost = plan(known(sites=sites(at_sea)))
    assert "sites.csv line 5" in lost.notes[0]
    assert "far from all other sites" in why(lost, "U4")


def test_a_technician_without_a_day_is_named_and_the_others_go() -> None:
    idle = Technician(name="Odo", start_lat=27.5, start_lon=-91.4, days=("sun",), days_off=())
    window = {"first_day": MONDAY, "last_day": MONDAY + dt.timedelta(days=3)}
    found = plan(technicians=(IDA, idle), **window)
    assert [note for note in found.notes if "Odo has no working day" in note] == list(found.notes)
    assert set(found.route_stops["technician"]) == {"Ida"}


def test_without_technicians_one_starts_at_the_middle_and_it_is_said() -> None:
    found = plan(technicians=())
    assert "names no technicians" in found.notes[0]
    assert found.route_stops.height == 5


def test_nobody_at_work_leaves_all_out_with_why() -> None:
    found = plan(technicians=(IDA.model_copy(update={"days": ("sun",)}),), first_day=MONDAY, last_day=MONDAY)
    assert found.route_stops.is_empty()
    assert set(found.left_out["why"]) == {"nobody works on the days of the round"}


def test_a_skill_that_anybody_lists_is_needed_for_its_refrigerant() -> None:
    able = Technician(name="Odo", start_lat=27.4, start_lon=-91.3, skills=("R-32",))
    found = plan(technicians=(IDA, able))
    assert row(found, "U3")["technician"] == "Odo"
    away = able.model_copy(update={"days": ("sun",)})
    short = plan(technicians=(IDA, away), first_day=MONDAY, last_day=MONDAY + dt.timedelta(days=1))
    assert why(short, "U3") == "nobody at work in these weeks has the skill r-32"


def test_the_shops_own_drives_replace_those_computed() -> None:
    table = [{"from": "Ida", "to": site, "minutes": "17"} for site in SITES]
    found = plan(travel=table)
    assert set(found.route_stops.filter(pl.col("stop") == 1)["drive_minutes"]) == {17.0}
    bad = plan(travel=[*table, {"from": "S1", "to": "S2", "minutes": "x"}])
    assert "travel.csv line 6" in bad.notes[0]


def test_a_past_season_still_gets_a_round_of_some_weeks() -> None:
    late = replace(known(), as_of=dt.date(2026, 6, 1))
    found = plan(late)
    assert "The season has begun" in found.notes[0]
    assert found.route_stops["date"].min() > dt.date(2026, 6, 1)


def test_nothing_known_gives_an_empty_plan() -> None:
    empty = known()
    empty = replace(empty, risk=empty.risk.clear(), units=empty.units.clear(), sites=empty.sites.clear())
    assert plan(empty).route_stops.is_empty()


def test_a_building_of_forty_units_takes_several_days() -> None:
    many = [f"B{n:02d}" for n in range(40)]
    base = known()
    risk = pl.concat([base.risk.head(1).with_columns(unit_id=pl.lit(name)) for name in many])
    units = pl.concat([base.units.head(1).with_columns(unit_id=pl.lit(name)) for name in many])
    week = ("mon", "tue", "wed", "thu", "fri")
    found = plan(replace(base, risk=risk, units=units), technicians=(IDA.model_copy(update={"days": week}),))
    assert found.route_stops.height == 40
    assert found.route_stops.select("date").n_unique() >= 5
