-- int_suspects_counted: stored readings that are possible but not believable, by field and why
-- grain: one row per field and reason; source: suspects; consumers: data quality page
create or replace view int_suspects_counted as
with held as (
    select
        unit_id,
        field,
        reason
    from suspects
)

select
    field,
    reason,
    count(*) as readings,
    count(distinct unit_id) as units
from held
group by field, reason;
