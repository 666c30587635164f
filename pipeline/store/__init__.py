"""The one DuckDB file: locked connection, migrations, load, queries."""
