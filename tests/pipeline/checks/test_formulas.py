"""No cell runs in a spreadsheet, and every cell comes back as it was."""

from __future__ import annotations

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.checks.formulas import guard, guarded, unguard, unguarded


def apply(function: object, *cells: str | None) -> list[str | None]:
    """Run one of the two expressions over cells."""
    frame = pl.DataFrame({"cell": cells}, schema={"cell": pl.String})
    return frame.select(function(pl.col("cell")))["cell"].to_list()  # type: ignore[operator]


@pytest.mark.parametrize(
    "cell", ["=1+1", "+cmd|x", "-2+3", "@SUM(A1)", "\tx", "\rx", "\nx", "＝1", "-", "--", "=", "-5 degC"]
)
def test_formula_signs_get_one_apostrophe(cell: str) -> None:
    """Signs of the usual list for CSV injection (OWASP, "CSV Injection", from memory)."""
    assert apply(guard, cell) == ["'" + cell]


@pytest.mark.parametrize(
    "cell", ["-5", "-5.5", "+1,234.50", "-.5", "-1e-3", "12", "a-b", "", " =x", "O'Hara", "'quoted'"]
)
def test_numbers_and_plain_text_stay(cell: str) -> None:
    """A signed number is no formula."""
    assert apply(guard, cell) == [cell]
    assert apply(unguard, cell) == [cell]


def test_null_stays_null() -> None:
    """Null in, null out."""
    assert apply(guard, None) == apply(unguard, None) == [None]


@settings(deadline=None, max_examples=50)
@given(st.text(alphabet="'=+-@＠\t\r\n5.,eA ", max_size=6))
def test_guard_is_undone_exactly(cell: str) -> None:
    """Also where a cell has apostrophes of its own."""
    (out,) = apply(guard, cell)
    assert out == guarded(cell)
    assert apply(unguard, out) == [unguarded(out)] == [cell]
    assert out is not None
    if out[:1] in set("=@＠\t\r\n"):
        pytest.fail(f"{out!r} would run")
