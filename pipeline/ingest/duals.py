"""One column for both sections of a dual capacitor: ``45/5``, ``40+5 MFD 440V``."""

from __future__ import annotations

import re
from collections.abc import Mapping

import polars as pl

from pipeline.ingest.evidence import Column

UNIT = r"(?:mfd|uf|µf|μf)?\s*"
VOLTS = r"\d{3}(?:\s*/\s*\d{3})?\s*(?:v|vac|volts?)?"
PAIR = rf"(?i)^\s*(\d{{2}}(?:[.,]\d+)?)\s*{UNIT}[/+&x-]\s*(\d{{1,2}}(?:[.,]\d+)?)\s*{UNIT}(?:[/@,x ]?\s*{VOLTS})?\s*$"
"""Hermetic section first, fan section second, perhaps the unit and the voltage rating."""

SINGLE = rf"(?i)^\s*(\d+(?:[.,]\d+)?)\s*{UNIT}(?:[/@,x ]\s*{VOLTS})?\s*$"
CLASS = r"(?i)[^\d.,](?:3[37]0\s*/\s*)?(330|370|440|450)\s*(?:v|vac|volts?)?\s*$"
"""Voltage class at the end of a cell [V], the higher of two; the classes that are sold (common practice, no source)."""

HERM_FROM = 17.5
"""A single number from here on is a hermetic section, below a fan section [uF]; sizes that are sold leave a gap at
15 to 20 (common practice, no source)."""

SECTION_OF = (
    ("herm_uf", "herm"),
    ("herm_uf_after", "herm"),
    ("fan_uf", "fan"),
    ("fan_uf_after", "fan"),
    ("cap_volts", "volts"),
)
"""Ending of a field's name and the part of the cell that it is."""

SHARE = 0.7
"""Share of pairs and single numbers from which a column holds both sections, where half of all are pairs."""

SIZES = frozenset((3, 4, 5, 6, 7.5, 10, 12.5, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80))
"""Sizes sold; a column of nothing else holds ratings, not readings (common practice, no source)."""


def holds_both(column: Column) -> bool:
    """Return whether most cells of the column are pairs of sections, or single sections beside such pairs."""
    pairs = sum(_pair(text) is not None for text in column.sample)
    singles = sum(re.match(SINGLE, text) is not None for text in column.sample)
    return bool(pairs) and 2 * pairs >= len(column.sample) and pairs + singles >= SHARE * len(column.sample)


def holds_ratings(column: Column) -> bool:
    """Return whether nearly every number in the pairs is a size that is sold."""
    numbers = [number for text in column.sample if (pair := _pair(text)) for number in pair]
    return sum(number in SIZES for number in numbers) >= 0.95 * len(numbers)


def holds_volts(column: Column) -> bool:
    """Return whether some cell of the column names a voltage class behind the pair."""
    return any(_pair(text) is not None and re.search(CLASS, text) for text in column.sample)


def _pair(text: str) -> tuple[float, float] | None:
    hit = re.match(PAIR, text)
    return (float(hit[1].replace(",", ".")), float(hit[2].replace(",", "."))) if hit else None


def split_sections(texts: pl.Series) -> Mapping[str, pl.Series]:
    """Return the cells of the ``herm`` and the ``fan`` section, and their ``volts``.

    A single number goes to the section it fits; a cell that is neither stays whole in ``herm``, to be judged there.
    """
    cell = pl.col("t")
    pair, single = cell.str.extract_groups(PAIR), cell.str.extract(SINGLE)
    large = single.str.replace(",", ".", literal=True).cast(pl.Float64, strict=False) >= HERM_FROM
    is_pair = pair.struct.field("1").is_not_null()
    herm = (
        pl.when(is_pair)
        .then(pair.struct.field("1"))
        .when(~large)
        .then(pl.lit(""))
        .when(large)
        .then(single)
        .otherwise(cell)
    )
    fan = pl.when(is_pair).then(pair.struct.field("2")).when(~large).then(single).otherwise(pl.lit(""))
    volts = pl.when(is_pair | single.is_not_null()).then(cell.str.extract(CLASS)).fill_null("")
    told = texts.alias("t").to_frame().select(herm.alias("herm"), fan.alias("fan"), volts.alias("volts"))
    return {name: told[name] for name in ("herm", "fan", "volts")}
