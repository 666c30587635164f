-- int_gate_summarised: what the batch gate expected of the staged rows of each run, and what it met
-- grain: one row per table and run (first_import_id to import_id are the files it looked at); source: core.expectation_results; consumers: data quality page
create or replace view int_gate_summarised as
with results as (
    select
        import_id,
        first_import_id,
        table_name,
        expectation,
        "column",
        success,
        unexpected_count
    from core.expectation_results
)

select
    import_id,
    first_import_id,
    table_name,
    count(*) as expectations,
    count(*) filter (where success) as expectations_met,
    coalesce(sum(unexpected_count), 0)::bigint as unexpected_values,
    coalesce(string_agg(
        case when not success then concat_ws(' ', expectation, "column") end,
        ', ' order by expectation, "column"
    ), '') as not_met
from results
group by import_id, first_import_id, table_name;
