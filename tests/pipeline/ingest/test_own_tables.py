"""A shop's own small table is read as any spreadsheet saves it, and refused with its place where it cannot be."""

from __future__ import annotations

import pytest

from pipeline.errors import UsageError
from pipeline.ingest.own_tables import own_rows

COLUMNS = ("season", "heat")


def numbers(text: str) -> list[tuple[str | None, float | None]]:
    rows = own_rows(text, COLUMNS, name="own.csv", slug="own")
    return [(row.text("season"), row.number("heat", blank=True, advice="mend it")) for row in rows]


@pytest.mark.parametrize(
    "text",
    [
        "season,heat\n2024,1890.5\n2025,\n",
        "\ufeffSeason ; Heat\r\n2024;1890,5\r\n2025;\r\n",
        "note\theat\tseason\n\t1890.5\t2024\n\n\t\t\nwet\t\t2025\n",
        'season,heat\n"2024"," 1890.5 "\n,\n2025\n',
    ],
)
def test_comma_semicolon_and_tab_say_the_same(text: str) -> None:
    assert numbers(text) == [("2024", 1890.5), ("2025", None)]


def test_a_comma_is_a_decimal_sign_only_where_semicolons_stand_between_the_cells() -> None:
    with pytest.raises(UsageError, match=r"own\.csv, line 2, heat: '1,890' is not a number: mend it"):
        numbers("season\theat\n2024\t1,890\n")


@pytest.mark.parametrize("text", ["", "season\n2024\n", "2024,1890\n"])
def test_a_missing_column_is_named(text: str) -> None:
    with pytest.raises(UsageError, match=r"own\.csv, line 1: the column '(season|heat)' is missing: add it"):
        numbers(text)
