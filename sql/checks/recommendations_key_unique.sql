-- recommendations_key_unique: recommendations stored more than once
-- grain: offending key; source: recommendations
select
    visit_id,
    unit_id,
    item,
    count(*) as stored_times
from recommendations
group by
    visit_id,
    unit_id,
    item
having count(*) > 1;
