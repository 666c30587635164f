-- visits_key_unique: visits stored more than once
-- grain: offending key; source: visits
select
    visit_id,
    unit_id,
    count(*) as stored_times
from visits
group by
    visit_id,
    unit_id
having count(*) > 1;
