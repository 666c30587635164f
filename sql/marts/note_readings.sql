-- note_readings: what technicians wrote into notes: readings, ratings, parts, observations, with the exact words
-- grain: one row per visit, unit, field and value; a value of no unit in particular is listed once, attributed = false
-- source: core.note_readings (enrich.notes); consumers: data quality page, unit pages
create or replace view note_readings as
with told as (
    select
        unit_id,
        visit_id,
        visit_date,
        field,
        kind,
        "value",
        value_text,
        snippet,
        mark,
        attributed,
        why_not,
        used
    from core.note_readings
)

select
    unit_id,
    visit_id,
    visit_date,
    field,
    kind,
    "value",
    value_text,
    snippet,
    mark,
    attributed,
    why_not,
    used
from told;
