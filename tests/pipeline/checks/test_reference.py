"""The generated table lists every rule once."""

from pipeline.checks.reference import as_markdown
from pipeline.checks.registry import all_checks
from pipeline.checks.rules import RULES


def test_every_rule_has_one_line() -> None:
    """Each slug that a finding may carry from the row checks is listed, in order."""
    listed = [line.split(" | ")[0].removeprefix("| ") for line in as_markdown().splitlines()[2:]]
    assert listed == sorted(rule.slug for rule in [*all_checks(), *RULES])


def test_no_cell_breaks_the_table() -> None:
    """Every line has the five cells of the head."""
    assert {line.count("|") for line in as_markdown().splitlines()} == {6}
