-- data_quality_gate: the batch gate's result in short, newest run first
-- grain: one row per table and run; source: int_gate_summarised, imports
with runs as (
    select
        import_id,
        first_import_id,
        table_name,
        expectations,
        expectations_met,
        unexpected_values,
        not_met
    from int_gate_summarised
)

select
    runs.table_name,
    count(imports.import_id) as files,
    max(imports.file) as newest_file,
    runs.expectations,
    runs.expectations_met,
    runs.unexpected_values,
    runs.not_met
from runs
left join imports
    on runs.table_name = imports.table_name
        and imports.import_id between runs.first_import_id and runs.import_id
group by
    runs.import_id,
    runs.first_import_id,
    runs.table_name,
    runs.expectations,
    runs.expectations_met,
    runs.unexpected_values,
    runs.not_met
order by runs.import_id desc, runs.table_name asc
limit 60;
