-- columns: names and types of a staged table, for the gate
-- grain: column; source: duckdb_columns(); $1 = schema, $2 = table
select
    column_name,
    data_type
from duckdb_columns()
where schema_name = $1 and table_name = $2
order by column_index;
