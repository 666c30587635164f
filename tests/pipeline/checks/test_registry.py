"""Every check catches its own example and lets the one just inside through; a new file is enough for a new check."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.checks import rows
from pipeline.checks.registry import Check, all_checks, caught
from pipeline.fields import fields_for_file, registry
from tests.pipeline.checks.parsed_rows import typed

CHECKS = all_checks()


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.slug)
def test_examples(check: Check) -> None:
    """The example is caught and the one just inside is not."""
    for table in check.tables:
        both = typed([check.example_caught, check.example_inside], table)
        assert caught(both, table, check).to_list() == [True, False]


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.slug)
def test_null_is_never_caught(check: Check) -> None:
    """A blamed field that is missing is no fault of this rule."""
    for name in check.blames:
        row = {**check.example_caught, name: None}
        assert caught(typed([check.example_caught, row], check.tables[0]), check.tables[0], check).to_list()[1] is False


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.slug)
def test_check_is_about_known_fields(check: Check) -> None:
    """Tables and blamed fields are in the registry of fields, and the texts say something."""
    assert set(check.tables) <= set(registry())
    for table in check.tables:
        assert set(check.blames) <= set(fields_for_file(table))
    assert check.source
    assert check.advice.endswith(".")
    assert not check.message.endswith(".")


def test_slugs_are_unique() -> None:
    """A slug in a report leads to one rule."""
    slugs = [check.slug for check in CHECKS]
    assert len(slugs) == len(set(slugs))


def test_a_new_file_is_a_new_check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing else needs touching: the registry finds the file and runs it."""
    (tmp_path / "many_hours.py").write_text(
        "import polars as pl\n"
        "from pipeline.checks.registry import Check\n"
        "CHECK = Check('many-hours', ('visits',), 'suspect', ('minutes_running',), pl.col('minutes_running') > 600,\n"
        "    'ran {minutes_running} minutes', 'Look again.', 'test', {'minutes_running': 601.0},"
        " {'minutes_running': 600.0})\n",
        encoding="utf-8",
    )
    monkeypatch.setattr(rows, "__path__", [*rows.__path__, str(tmp_path)])
    added = {check.slug: check for check in all_checks()}["many-hours"]
    both = typed([added.example_caught, added.example_inside])
    assert caught(both, "visits", added).to_list() == [True, False]


def test_file_and_slug_have_one_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A slug that differs from its file name is refused at once."""
    (tmp_path / "misnamed.py").write_text(
        "import polars as pl\nfrom pipeline.checks.registry import Check\n"
        "CHECK = Check('other', (), 'suspect', (), pl.lit(False), '', '', '', {}, {})\n",
        encoding="utf-8",
    )
    monkeypatch.setattr(rows, "__path__", [*rows.__path__, str(tmp_path)])
    with pytest.raises(ValueError, match="must have one name"):
        all_checks()
