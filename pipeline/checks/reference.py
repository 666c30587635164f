"""The list of every row rule as a table for the documentation."""

from __future__ import annotations

from pipeline.checks.registry import Check, all_checks
from pipeline.checks.rules import RULES, Rule

_DOES = {
    "reject_value": "empties the value",
    "reject_row": "refuses the row",
    "suspect": "marks the value, keeps it",
}


def as_markdown() -> str:
    """Return a Markdown table of all rules: slug, what it does, cause, advice, source; sorted by slug."""
    lines = ["| rule | does | says | advice | source |", "| --- | --- | --- | --- | --- |"]
    rules: list[Check | Rule] = sorted([*all_checks(), *RULES], key=lambda rule: rule.slug)
    lines += [
        f"| {rule.slug} | {_DOES[rule.severity]} | {rule.message} | {rule.advice} | {rule.source} |" for rule in rules
    ]
    return "\n".join(lines) + "\n"
