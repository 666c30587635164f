-- int_suspects_counted: stored readings that are possible but not believable, by field and why
-- grain: one row per field and reason; source: core.suspects; consumers: data quality page
create or replace view int_suspects_counted as
with suspects as (
    select
        unit_id,
        field,
        reason
    from core.suspects
)

select
    field,
    reason,
    count(*) as readings,
    count(distinct unit_id) as units
from suspects
group by field, reason;
