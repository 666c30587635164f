"""The list of every row rule as a table for the documentation."""

from __future__ import annotations

from pipeline.checks.registry import Check, all_checks
from pipeline.checks.rules import RULES, Rule

_READING = "what reading, mapping and parsing refuse; see pipeline/ingest"

READING_RULES = tuple(
    Rule(slug, severity, message, advice, _READING)
    for slug, severity, message, advice in (
        ("bad-bytes", "reject_row", "bytes that are no text in the file's encoding", "Correct the damaged characters."),
        ("cut-off", "reject_row", "the file ends inside the row", "Export the file again, or add the missing cells."),
        ("open-quote", "reject_row", "a quote is opened and never closed", "Close or remove the quote."),
        ("other-table", "reject_row", "the row belongs to another table in the file", "Save it as a file of its own."),
        ("too-many-cells", "reject_row", "more cells than the header has", "Quote the cell that holds the delimiter."),
        ("not-a-number", "reject_value", "the value is not a number", "Correct it, or map the column's decimal sign."),
        ("not-finite", "reject_value", "the value is no finite number", "Correct it."),
        (
            "wrong-unit",
            "reject_value",
            "the value names a unit of another kind",
            "Correct it, or map the column's unit.",
        ),
        ("out-of-range", "reject_value", "the value lies outside its field's range", "Correct it, often the unit."),
        ("not-a-date", "reject_value", "the value is not a date in this file's format", "Correct it."),
        ("unknown-word", "reject_value", "the word is not one the field allows", "Correct it, or map the shop's word."),
    )
)
"""Rules of the stages before; in a required field they refuse the row."""

_DOES = {
    "reject_value": "empties the value",
    "reject_row": "refuses the row",
    "suspect": "marks the value, keeps it",
}


def as_markdown() -> str:
    """Return a Markdown table of all rules: slug, what it does, cause, advice, source; sorted by slug."""
    lines = ["| rule | does | says | advice | source |", "| --- | --- | --- | --- | --- |"]
    rules: list[Check | Rule] = sorted([*all_checks(), *RULES, *READING_RULES], key=lambda rule: rule.slug)
    lines += [
        f"| {rule.slug} | {_DOES[rule.severity]} | {rule.message} | {rule.advice} | {rule.source} |" for rule in rules
    ]
    return "\n".join(lines) + "\n"
