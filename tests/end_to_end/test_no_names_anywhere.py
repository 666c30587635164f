"""``--no-names`` over the whole sample shop: no private value of the store in any file, nor in a file's name."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from pipeline.commands import publish_again
from pipeline.fields import registry
from pipeline.store.connect import open_store

pytestmark = pytest.mark.thorough

WORD = re.compile(r"[^\W_]+")
KINDS = {".html", ".csv", ".ics"}
SPOKEN = {"access_notes": 3, "notes": 5}
"""So many words in a row of free text must not come up: fewer are also said by the pages themselves."""
COMMON = {"the", "unit", "side", "gate", "dog"}


def runs(text: str, length: int) -> set[tuple[str, ...]]:
    """Return every run of so many words."""
    words = WORD.findall(text.lower())
    return {tuple(words[i : i + length]) for i in range(len(words) - length + 1)}


@pytest.fixture(scope="module")
def shop(sample_shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    copy = tmp_path_factory.mktemp("nameless") / "shop"
    shutil.copytree(sample_shop, copy, ignore=shutil.ignore_patterns("dashboards", "lists", "rejected", "imported"))
    publish_again(copy, units=(), no_names=True)
    return copy


@pytest.fixture(scope="module")
def written(shop: Path) -> dict[int, set[tuple[str, ...]]]:
    """Runs of words by their length, of every file's text and of its name."""
    found: dict[int, set[tuple[str, ...]]] = {length: set() for length in range(1, 6)}
    for path in [*(shop / "dashboards").rglob("*"), *(shop / "lists").rglob("*")]:
        if path.suffix in KINDS:
            text = f"{path.stem}\n{path.read_text('utf-8')}"
            for length, seen in found.items():
                seen |= runs(text, length)
    return found


def private_values(shop: Path) -> list[tuple[str, str]]:
    """Return every value of a private field in the store, each with its field."""
    values = []
    with open_store(shop / "shop.duckdb", read_only=True) as con:
        columns = {
            (t, c) for t, c in con.sql("select table_name, column_name from information_schema.columns").fetchall()
        }
        for table in registry().values():
            for field in table.fields.values():
                if field.private and (table.name, field.name) in columns:
                    rows = con.sql(f"select distinct {field.name} from {table.name} where {field.name} is not null")
                    values += [(field.name, str(value)) for (value,) in rows.fetchall()]
        values += [
            ("technician", name)
            for (name,) in con.sql("select distinct technician from visits where technician is not null").fetchall()
        ]
    return values


def test_no_private_value_is_in_any_file(shop: Path, written: dict[int, set[tuple[str, ...]]]) -> None:
    values = private_values(shop)
    assert {"customer_name", "phone", "address", "technician"} <= {field for field, _ in values}
    assert len(values) > 900
    told = []
    for field, value in values:
        words = tuple(WORD.findall(value.lower()))
        length = min(len(words), SPOKEN.get(field, 3))
        if length and words[:length] in written[length] and not (length == 1 and words[0] in COMMON):
            told.append((field, value))
    assert told == []


def test_the_same_search_finds_them_where_names_are_published(sample_shop: Path) -> None:
    """The search is not blind: on the pages with names nearly every customer is found."""
    seen: set[tuple[str, ...]] = set()
    for path in (sample_shop / "dashboards").rglob("*.html"):
        seen |= runs(path.read_text("utf-8"), 2)
    customers = [value for field, value in private_values(sample_shop) if field == "customer_name"]
    found = [value for value in customers if tuple(WORD.findall(value.lower()))[:2] in seen]
    assert len(found) > 0.9 * len(customers)
