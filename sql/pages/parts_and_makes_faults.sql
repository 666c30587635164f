-- parts_and_makes_faults: what contradicts itself in the register
-- grain: one row per contradiction, at most 300; source: register_faults
select
    coalesce(unit_id, 'not said') as unit_id,
    visit_id,
    fault,
    message,
    source_file,
    source_line,
    count(*) over () as faults
from register_faults
order by
    fault,
    unit_id,
    visit_id
limit 300;
