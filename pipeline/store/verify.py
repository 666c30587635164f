"""Checks of the finished store: each selects offending rows, empty passes."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

import sql
from pipeline.errors import PipelineError


@dataclass(frozen=True)
class Offence:
    """One check that found rows, how many, and the first of them as text."""

    check: str
    rows: int
    first: str


def offences(con: duckdb.DuckDBPyConnection) -> list[Offence]:
    """Return the checks in ``sql/checks`` that select any row of the store."""
    found = []
    for file in sql.files("checks", ".sql"):
        rows = con.execute(sql.statement(f"checks/{file.name}")).fetchall()
        if rows:
            found.append(Offence(file.name.removesuffix(".sql"), len(rows), str(rows[0])))
    return found


def verify(con: duckdb.DuckDBPyConnection) -> None:
    """Raise unless the finished store passes every check; to be called before the run's commit.

    Raises
    ------
    PipelineError
        Naming the first check that found rows: a fault of this program, never of a file.
    """
    found = offences(con)
    if found:
        first = found[0]
        raise PipelineError(
            f"The finished store fails its own check {first.check} with {first.rows} rows; nothing was changed",
            slug="store-check",
        )
