"""The generated table lists every rule once."""

import re
from pathlib import Path

import pipeline.ingest
from pipeline.checks.reference import READING_RULES, as_markdown
from pipeline.checks.registry import all_checks
from pipeline.checks.rules import RULES


def test_every_rule_has_one_line() -> None:
    """Each slug that a finding may carry from the row checks is listed, in order."""
    listed = [line.split(" | ")[0].removeprefix("| ") for line in as_markdown().splitlines()[2:]]
    assert listed == sorted(rule.slug for rule in [*all_checks(), *RULES, *READING_RULES])


def test_no_cell_breaks_the_table() -> None:
    """Every line has the five cells of the head."""
    assert {line.count("|") for line in as_markdown().splitlines()} == {6}


def test_every_rule_of_reading_is_listed() -> None:
    """Slugs that the modules which refuse rows and values write into findings."""
    names = ("rows", "columns", "numbers", "dates", "refusals", "long_readings")
    source = "".join((Path(pipeline.ingest.__path__[0]) / f"{name}.py").read_text("utf-8") for name in names)
    written = set(re.findall(r'"([a-z]+(?:-[a-z]+)+)"', source)) - {"utf-8"}
    assert written == {rule.slug for rule in READING_RULES}
