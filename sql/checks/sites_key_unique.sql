-- sites_key_unique: sites stored more than once
-- grain: offending key; source: sites
select
    site_id,
    count(*) as stored_times
from sites
group by site_id
having count(*) > 1;
