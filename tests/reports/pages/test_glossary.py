"""The glossary tells limits and their sources as the registries have them, and every reason that the store knows."""

from __future__ import annotations

import tomllib
from importlib import resources

from reports.pages.glossary import PAGE, build, terms
from tests.reports.fleet import small_fleet
from tests.reports.pages.test_forecast_record import a_site


def test_limits_and_their_sources_are_the_registries() -> None:
    known = tomllib.loads(resources.files("pipeline.reference").joinpath("thresholds.toml").read_text("utf-8"))
    verdict = next(term for term in terms() if term.term == "Charge verdict")
    for name, times in (("superheat_band_f", 2), ("subcooling_band_f", 2)):
        assert verdict.meaning.count(f"more than {known[name]['value']:.0f}\u00a0°F") == times
        assert known[name]["source"] in verdict.source
    assert not [term.term for term in terms() if "{" in term.meaning]


def test_every_reason_for_not_judging_the_charge_is_told() -> None:
    fleet = small_fleet(3, hostile=False)
    it = build({name: fleet.query(name, {}) for name in PAGE.queries}, a_site(fleet))
    [told] = [term.items for term in it.terms if term.term == "Not testable"]
    assert len(told) == fleet.con.sql("select count(*) from not_testable_reasons").fetchall()[0][0] > 10
    assert "outdoor under 55 °F" in told
