-- units_key_unique: units stored more than once
-- grain: offending key; source: units
select
    unit_id,
    count(*) as stored_times
from units
group by unit_id
having count(*) > 1;
