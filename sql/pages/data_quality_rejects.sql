-- data_quality_rejects: rejected rows and values by rule, each with its newest case as the example
-- grain: one row per scope, rule and field; source: rejects
select
    scope,
    rule,
    field,
    count(*) as found,
    count(*) filter (where resolved_at is null) as still_open,
    arg_max(source_file, (import_id, source_line)) as example_file,
    arg_max(source_line, (import_id, source_line)) as example_line,
    arg_max("message", (import_id, source_line)) as example_message,
    arg_max(advice, (import_id, source_line)) as advice
from rejects
group by scope, rule, field
order by still_open desc, found desc, scope asc, rule asc, field asc nulls last
limit 100;
