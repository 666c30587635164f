"""The first lines of the fleet review on three dates: what each says, and that each leads somewhere."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest

from pipeline.config import Settings
from pipeline.publish import publish
from tests.reports.fleet import Fleet

MARCH, JULY, OCTOBER = dt.date(2026, 3, 14), dt.date(2026, 7, 15), dt.date(2026, 10, 15)
SEASONS = {
    MARCH: (dt.date(2026, 5, 1), dt.date(2026, 9, 30)),
    JULY: (dt.date(2026, 5, 1), dt.date(2026, 9, 30)),
    OCTOBER: (dt.date(2027, 5, 1), dt.date(2027, 9, 30)),
}


def shop_on(as_of: dt.date) -> Fleet:
    """Return four units under agreement, with one case for every line, as known on a date."""
    fleet = Fleet()
    season = SEASONS[as_of]
    for n in range(1, 5):
        fleet.add("sites", site_id=f"S{n}", customer_name=f"Customer {n}", phone=f"555-010{n}", agreement="yes",
                  agreement_renews_on=as_of + dt.timedelta(days=9 + n))  # fmt: skip
        fleet.add("units", unit_id=f"U{n}", site_id=f"S{n}", cap_herm_uf=40.0, cap_fan_uf=5.0, cap_volts=440.0)
        fleet.add("core.unit_forecast", unit_id=f"U{n}", as_of=as_of, season_start=season[0], season_end=season[1],
                  p_failure=0.5 - n / 10, p_low=0.1, p_high=0.6, flagged=n < 3,
                  leading_reason="run_capacitor: hermetic section read 34.6 of 40 uF")  # fmt: skip
        fleet.add("core.section_forecast", unit_id=f"U{n}", section="herm", as_of=as_of, season_start=season[0],
                  season_end=season[1], p_out_by_season_end=0.9)  # fmt: skip
    visit = {"source_file": "v.csv", "source_line": 3}
    fleet.add("visits", visit_id="old", unit_id="U1", visit_date=as_of - dt.timedelta(days=650), **visit)
    fleet.add("visits", visit_id="spring", unit_id="U3", visit_date=dt.date(2026, 3, 2), visit_type="maintenance",
              **visit)  # fmt: skip
    if as_of > dt.date(2026, 7, 1):
        fleet.add("visits", visit_id="june", unit_id="U3", visit_date=dt.date(2026, 6, 20), visit_type="no_cooling",
                  cause="contactor", **visit)  # fmt: skip
        fleet.add("visits", visit_id="july", unit_id="U3", visit_date=dt.date(2026, 7, 9), visit_type="callback",
                  **visit)  # fmt: skip
    fleet.add("core.open_findings", unit_id="U2", finding="pitted_contactor", found_on=dt.date(2026, 2, 1),
              visit_id="x", decision="approved", days_open=30)  # fmt: skip
    claim = {"unit_id": "U1", "part": "run_capacitor"}
    fleet.add("core.warranty_claims", claim_id="1", state="test_before_lapse", section="herm",
              deadline=as_of + dt.timedelta(days=80), **claim)  # fmt: skip
    fleet.add("core.warranty_claims", claim_id="2", state="to_file", amount=31.0,
              deadline=as_of + dt.timedelta(days=20), **claim)  # fmt: skip
    fleet.add("core.warranty_claims", claim_id="3", state="filed", amount=52.0,
              claimed_on=as_of - dt.timedelta(days=91), **claim)  # fmt: skip
    fleet.add("core.installs_to_register", unit_id="U4", installed_on=dt.date(2026, 2, 1),
              register_by=as_of + dt.timedelta(days=30))  # fmt: skip
    for n, failed in enumerate((True, False, True), start=1):
        fleet.add("core.backtest", unit_id=f"U{n}", season="2026" if as_of == OCTOBER else "2025", asked="eve",
                  as_of=dt.date(2026, 4, 30), season_start=dt.date(2026, 5, 1), p_failure=0.4, failed=failed,
                  flagged=n < 3, season_end=dt.date(2026, 9, 30) if as_of == OCTOBER else dt.date(2025, 9, 30),
                  )  # fmt: skip
    return fleet


def index_on(as_of: dt.date, folder: Path, **options: bool) -> str:
    publish(shop_on(as_of).query, folder, Settings(), **options)
    return (folder / "dashboards" / "index.html").read_text("utf-8")


def items(page: str) -> list[str]:
    block = re.search(r'class="lines">.*?</section>', page, re.S)
    assert block
    return re.findall(r"<li>(.*?)</li>", block.group(), re.S)


def plain(item: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", item)).strip()


WANTED = {
    # 48 days are 6 weeks and 6 days, so 7; three of four units are left: 1 a week; 1 done in 4 weeks is 0.2 or 0.3
    MARCH: [
        r"Call to book 3 spring visits under agreement: 1 of 4 are done\. 1 a week are needed in the 7 weeks left; "
        r"0\.2 a week were made in the last four\. Next in line: U1 Customer 1 555-0101 Calls",
        r"Order the capacitors that the watch list will probably need: 2 × 40\+5 µF 440 V\. Watch list",
        r"Test the run capacitor, hermetic section, before its warranty ends on 2 Jun 2026\. First: U1",
        r"Register your install by 13 Apr 2026, or the longer term is lost\. First: U4",
        r"Finish 1 repair that customers approved or that wait for a part\. Oldest, pitted contactor of 1 Feb 2026: U2",
        r"File 1 warranty claim, 31 USD, by 3 Apr 2026\. For: U1 Customer 1 Warranty",
        r"Renew 4 agreements ending within 30 days\. First, on 24 Mar 2026: U1",
    ],
    JULY: [
        r"Visit the flagged units that nobody has seen since 1 May 2026 before the heat finds them\. First: U1",
        r"Ring after 1 call that came within 30 days of a visit of ours\. Newest, on 9 Jul 2026: U3",
        r"Load for flagged units not seen this season: 2 × 40\+5 µF 440 V\.",
        r"Look into 1 unit that failed this season after our own spring visit.* on 20 Jun 2026, contactor: U3",
        r"Finish 1 repair",
        r"File 1 warranty claim",
        r"Renew 4 agreements",
    ],
    OCTOBER: [
        r"Read how the forecast for 2026 turned out: of 2 flagged units 1 failed \(about 5 in 10\); of 1 others 1; "
        r"2 calls came, 1 were expected\. How the forecast did",
        r"Chase 1 claim filed and not answered, 50 USD: 1 for more than 90 days\. "
        r"Oldest, of 16 Jul 2026, for: U1 Customer 1 Warranty",
        r"File 1 warranty claim",
        r"Renew 4 agreements ending before the next season",
        r"Call on \d units? that nobody has seen for 18 months\. Longest ago, 3 Jan 2025: U1",
        r"Test the run capacitor",
        r"Register your install",
        r"Finish 1 repair",
    ],
}


@pytest.mark.parametrize("as_of", [MARCH, JULY, OCTOBER])
def test_each_date_has_its_own_lines(tmp_path: Path, as_of: dt.date) -> None:
    found = [plain(item) for item in items(index_on(as_of, tmp_path))]
    assert len(found) == len(WANTED[as_of])
    for line, wanted in zip(found, WANTED[as_of], strict=True):
        assert re.match(wanted, line), line


def test_the_first_lines_differ_between_the_dates(tmp_path: Path) -> None:
    tops = {plain(item) for as_of in SEASONS for item in items(index_on(as_of, tmp_path / str(as_of)))[:3]}
    assert len(tops) == 9


@pytest.mark.parametrize("as_of", [MARCH, JULY, OCTOBER])
@pytest.mark.parametrize("no_names", [False, True])
def test_each_line_has_a_verb_a_unit_or_a_size_and_a_phone_or_a_page(
    tmp_path: Path, as_of: dt.date, no_names: bool
) -> None:
    for item in items(index_on(as_of, tmp_path, no_names=no_names)):
        assert re.match(r"<strong>[A-Z][a-z]+( into)?</strong> ", item)
        assert re.search(r'href="[^"]*unit/|µF|flagged unit', item), item
        assert "tel:" in item or 'class="go"' in item
        assert not (no_names and "tel:" in item)


def test_nothing_is_promised_where_nothing_is_known(tmp_path: Path) -> None:
    fleet = Fleet()
    fleet.add("core.unit_forecast", unit_id="U1", as_of=MARCH, season_start=SEASONS[MARCH][0],
              season_end=SEASONS[MARCH][1], p_failure=0.1)  # fmt: skip
    publish(fleet.query, tmp_path, Settings())
    assert 'class="lines"' not in (tmp_path / "dashboards" / "index.html").read_text("utf-8")


def test_what_is_booked_is_not_called_again(tmp_path: Path) -> None:
    fleet = shop_on(MARCH)
    fleet.add("core.route_stops", technician="T", date=dt.date(2026, 3, 20), stop=1, unit_id="U1", status="booked")
    publish(fleet.query, tmp_path, Settings())
    line = plain(items((tmp_path / "dashboards" / "index.html").read_text("utf-8"))[0])
    assert line.startswith("Call to book 2 spring visits under agreement: 1 of 4 are done, 1 booked.")
    assert "Next in line: U2" in line


def test_moved_units_are_named(tmp_path: Path) -> None:
    fleet = shop_on(MARCH)
    for unit_id, flagged in (("U1", True), ("U2", False), ("U3", True), ("U4", False)):
        fleet.add("core.risk_history", unit_id=unit_id, as_of=dt.date(2026, 2, 1), p_failure=0.2, flagged=flagged)
    publish(fleet.query, tmp_path, Settings())
    page = (tmp_path / "dashboards" / "index.html").read_text("utf-8")
    text = plain(page[page.index('id="moved"') :])
    assert "1 unit came on to the watch list, 1 left it. New U2: Run capacitor, " in text
    assert "Cleared U3, seen since" in text


@pytest.mark.parametrize(
    ("as_of", "use", "wanted"),
    [
        (MARCH, "order", "Order 9 pieces by the plan, the first by 20 Mar 2026: 5 × 40+5 µF 440 V, 4 × contactor."),
        (JULY, "truck", "Load 9 pieces that the trucks lack of their list for the season: 5 × 40+5 µF 440 V, 4"),
    ],
)
def test_the_plans_own_list_comes_before_the_watch_lists(tmp_path: Path, as_of: dt.date, use: str, wanted: str) -> None:
    fleet = shop_on(as_of)
    stock = {"for_what": use, "order_by": dt.date(2026, 3, 20)}
    fleet.add("core.stock_list", part="run_capacitor", size="40+5 uF 440 V", quantity=3, to_order=3, for_which="A",
              **stock)  # fmt: skip
    fleet.add("core.stock_list", part="run_capacitor", size="40+5 uF 440 V", quantity=2, to_order=2, for_which="B",
              **stock)  # fmt: skip
    fleet.add("core.stock_list", part="contactor", size="", quantity=4, to_order=4, for_which="A", **stock)
    publish(fleet.query, tmp_path, Settings())
    found = [plain(item) for item in items((tmp_path / "dashboards" / "index.html").read_text("utf-8"))]
    assert any(line.startswith(wanted) for line in found), found
