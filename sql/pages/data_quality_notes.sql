-- data_quality_notes: what was read out of notes, by field: how much of it, how much filled a blank, and the newest example
-- grain: one row per kind and field; source: note_readings
select
    kind,
    field,
    count(*) as told,
    count(distinct unit_id) as units,
    count(*) filter (where used) as used,
    count(*) filter (where attributed and not used) as not_needed,
    count(*) filter (where not attributed) as not_attributed,
    mode(why_not) as why_not,
    arg_max(snippet, (attributed, visit_date, visit_id, unit_id)) as snippet,
    arg_max("value", (attributed, visit_date, visit_id, unit_id)) as "value",
    arg_max(value_text, (attributed, visit_date, visit_id, unit_id)) as value_text,
    arg_max(visit_date, (attributed, visit_date, visit_id, unit_id)) as visit_date
from note_readings
group by kind, field
order by told desc, kind asc, field asc
limit 80;
