-- parts_key_unique: parts stored more than once
-- grain: offending key; source: parts
select
    visit_id,
    unit_id,
    part,
    row_n,
    count(*) as stored_times
from parts
group by
    visit_id,
    unit_id,
    part,
    row_n
having count(*) > 1;
