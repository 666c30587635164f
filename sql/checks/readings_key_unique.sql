-- readings_key_unique: long readings stored more than once
-- grain: offending key; source: readings
select
    visit_id,
    unit_id,
    measure,
    count(*) as stored_times
from readings
group by
    visit_id,
    unit_id,
    measure
having count(*) > 1;
