"""What a stop is expected to save, told on the watch list, by hand arithmetic."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from reports.pages.watch_list import PAGE, build
from reports.site import make_site
from tests.reports.fleet import AS_OF, SEASON, Fleet


def shop(*units: tuple[str, float, float, bool, bool]) -> Fleet:
    """Return a store with units by id, odds, net saving of a stop, worth a stop, first in line."""
    fleet = Fleet()
    for unit, p, saving, worth, first in units:
        fleet.add("units", unit_id=unit, site_id="S")
        fleet.add("visits", visit_id=unit, unit_id=unit, visit_date=dt.date(2025, 4, 1), visit_type="maintenance")
        fleet.add(
            "core.unit_forecast",
            **{"unit_id": unit, "as_of": AS_OF, "season_start": SEASON[0], "season_end": SEASON[1]},
            **{"p_failure": p, "p_low": p / 2, "p_high": 2 * p, "flagged": worth or first},
            **{"worth_a_stop": worth, "first_in_line": first, "net_saving": saving, "reasons": "other: old"},
        )
    return fleet


def told(fleet: Fleet) -> tuple[str, list[str]]:
    """Return the list's sentences as one text, and each unit's kind of stop."""
    frames: dict[str, pl.DataFrame] = {name: fleet.query(name, {}) for name in PAGE.queries}
    site = make_site(fleet.query("site", {}), shop_name="A shop", currency="USD", with_names=True, unit_files={})
    page = build(frames, site)
    return " ".join((page.pays, *page.saving)), [unit.stop for unit in page.units]


def test_the_two_kinds_of_flag_are_told_apart_with_what_they_save() -> None:
    """Savings 100 and -20 on the list, -110 off it: 100 where it pays, 80 over the list, -30 over all.

    A stop at 120 against a call at 720: from 120 / (720 x .8) = 21 in 100 for a capacitor, 120 / (720 x .3) = 56 for
    what nothing foretells.
    """
    text, kinds = told(
        shop(("a", 0.4, 100.0, True, True), ("b", 0.2, -20.0, False, True), ("c", 0.02, -110.0, False, False))
    )
    assert kinds == ["worth a stop by itself", "first in line on the tune-up"]
    assert text.startswith("1 unit is worth a stop by itself; the other 1 unit listed is first in line on the tune-up.")
    assert "about 21 in 100" in text
    assert "56 in 100 where no reading points to the fault" in text
    assert "100 USD with stops where they pay, 80 USD with one at every unit listed" in text
    assert "−30 USD with one at each of the 3 units" in text


@pytest.mark.parametrize(
    ("units", "start"),
    [
        ([("a", 0.1, -50.0, False, True)], "No unit is worth a stop by itself; the 1 unit listed is first in line"),
        ([("a", 0.4, 100.0, True, True)], "1 unit is worth a stop by itself."),
    ],
)
def test_a_list_of_one_kind_says_so(units: list[tuple[str, float, float, bool, bool]], start: str) -> None:
    """Nothing pays: said so. All pay: no second kind is spoken of."""
    assert told(shop(*units))[0].startswith(start)
