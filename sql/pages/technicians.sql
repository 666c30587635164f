-- technicians: everybody who has a visit or a day of the round, to be numbered where names are left out
-- grain: one row per technician; source: visits, route_stops, core.plan_days; consumer: publish
select technician
from visits
where technician is not null
union
select technician
from route_stops
where technician is not null
union
select technician
from core.plan_days
order by technician;
