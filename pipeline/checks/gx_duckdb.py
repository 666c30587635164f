"""Great Expectations on the load's own DuckDB connection.

The library's own way opens connections from a pool: a second one sees none of the uncommitted rows, and a result dies
when its connection goes back. Here one connection is held, and nothing the library does can end the load's transaction.
Importing this module imports the library, which takes seconds: only ``suite.py`` does, when a gate is due.
"""

from __future__ import annotations

import builtins
from collections.abc import Generator
from contextlib import contextmanager
from typing import Any, Literal

import duckdb
import duckdb_engine
import sqlalchemy
from great_expectations.compatibility import pydantic
from great_expectations.datasource.fluent.sql_datasource import SQLDatasource
from great_expectations.execution_engine.sqlalchemy_execution_engine import SqlAlchemyExecutionEngine
from sqlalchemy.dialects import registry
from sqlalchemy.engine.default import DefaultDialect
from sqlalchemy.pool import StaticPool
from sqlalchemy.types import NullType

import sql

SCHEMA = "staging"


class HeldConnection(duckdb_engine.ConnectionWrapper):
    """The load's connection, on which SQLAlchemy may neither begin, commit, roll back nor close."""

    def begin(self) -> None:
        """Do nothing: the load has begun."""

    def commit(self) -> None:
        """Do nothing: the load commits."""

    def rollback(self) -> None:
        """Do nothing: the load rolls back."""

    def close(self) -> None:
        """Do nothing: the load closes."""


class HeldDialect(duckdb_engine.Dialect):
    """The dialect without the questions the database cannot answer: a failed statement would end the transaction."""

    supports_statement_cache = False

    def get_columns(
        self,
        connection: sqlalchemy.Connection,
        table_name: str,
        schema: str | None = None,
        **kw: Any,  # noqa: ARG002
    ) -> list[Any]:
        """Return names and types of the columns of a staged table."""
        rows = connection.exec_driver_sql(sql.statement("checks/staged/columns.sql"), (schema or SCHEMA, table_name))
        return [{"name": n, "type": TYPES.get(t, NullType)(), "nullable": True, "default": None} for n, t in rows]

    def get_pk_constraint(
        self,
        connection: sqlalchemy.Connection,  # noqa: ARG002
        table_name: str,  # noqa: ARG002
        schema: str | None = None,  # noqa: ARG002
        **kw: Any,  # noqa: ARG002
    ) -> Any:
        """Return no primary key: staged tables have none."""
        return {"constrained_columns": [], "name": None}

    get_multi_columns = DefaultDialect.get_multi_columns  # type: ignore[assignment]
    get_multi_pk_constraint = DefaultDialect.get_multi_pk_constraint  # type: ignore[assignment]


TYPES: dict[str, type[Any]] = {
    "VARCHAR": sqlalchemy.String,
    "DOUBLE": sqlalchemy.Float,
    "BIGINT": sqlalchemy.BigInteger,
    "DATE": sqlalchemy.Date,
}

registry.register("duckdb.held", __name__, HeldDialect.__name__)


class HeldExecutionEngine(SqlAlchemyExecutionEngine):
    """Runs every query of a validation on one open connection."""

    @contextmanager
    def get_connection(self) -> Generator[sqlalchemy.Connection, None, None]:
        """Yield the one connection and leave it open."""
        if self._connection is None:
            self._connection = self.engine.connect()
        yield self._connection


class DuckDBLocalDatasource(SQLDatasource):
    """A datasource made of a connection at hand; the library offers it as ``add_duckdb_local``."""

    type: Literal["duckdb_local"] = "duckdb_local"  # type: ignore[assignment]
    _held: HeldExecutionEngine = pydantic.PrivateAttr()

    def hold(self, con: duckdb.DuckDBPyConnection) -> None:
        """Validate on ``con`` from now on."""
        wrapped = HeldConnection(con)
        engine = sqlalchemy.create_engine("duckdb+held:///:memory:", creator=lambda: wrapped, poolclass=StaticPool)
        self._held = HeldExecutionEngine(engine=engine, create_temp_table=False)

    @property
    def schema_(self) -> str:
        """Return the schema of the staged rows."""
        return SCHEMA

    @property
    def execution_engine_type(self) -> builtins.type[SqlAlchemyExecutionEngine]:
        """Return the engine that keeps its connection."""
        return HeldExecutionEngine

    def get_engine(self) -> sqlalchemy.Engine:
        """Return the engine around the held connection."""
        return self._held.engine

    def get_execution_engine(self) -> SqlAlchemyExecutionEngine:
        """Return the one execution engine."""
        return self._held

    def test_connection(self, test_assets: bool = True) -> None:
        """Do nothing: the connection is known to be open."""
