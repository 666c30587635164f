"""Units whose id was derived, given the id under which another file names them; decided anew from all that is stored.

What files said stays in ``imported`` as it was said. The views ``int_visits``, ``int_units``, ``int_parts``,
``int_recommendations`` and ``int_readings`` read it under the unit it belongs to, and everything else reads these.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

import sql
from pipeline.ingest.derive import STREETS
from pipeline.store.frames import to_frame
from pipeline.store.migrate import one

AS_TOLD = frozenset({"suspects", "zero_cells", "unit_moves", "visit_moves", "units_unsettled"})
"""Tables of ``core`` whose unit is that of the imported row; all others are computed for settled units."""


@dataclass(frozen=True)
class Moved:
    """Units with a derived id that a run found named elsewhere, and how many of their visits went there."""

    units: int
    visits: int


def settle_moves(con: duckdb.DuckDBPyConnection) -> Moved:
    """Find the named unit of every derived id, touch both ends of what changed, forget what was computed for the old.

    To be called after the run's last merge and before units and sites are put together again. The answer depends on
    what is stored, not on the order in which it came: an id is given back where a later file makes it ambiguous.
    """
    if not one(con, sql.statement("load/unit_moves_wanted.sql")):
        return Moved(0, 0)
    streets = {"written_out": list(STREETS), "shortened": list(STREETS.values())}
    con.execute(sql.statement("load/street_words.sql"), streets)
    con.execute(sql.statement("load/unit_moves.sql"))
    con.execute(sql.statement("load/visit_moves.sql"))
    con.execute(sql.statement("load/unit_moves_touch.sql"))
    con.execute(sql.render("load/unit_moves_forget.sql.j2", tables=_computed(con)))
    counted = to_frame(con, sql.statement("load/unit_moves_counted.sql")).row(0)
    return Moved(*counted)


def _computed(con: duckdb.DuckDBPyConnection) -> list[str]:
    """Return the tables of ``core`` with rows of settled units."""
    found = con.execute(
        "select table_name from duckdb_columns() where schema_name = 'core' and column_name = 'unit_id'"
    ).fetchall()
    return sorted(name for (name,) in found if name not in AS_TOLD)
