-- data_quality_units: ids that may stand for more than one unit, the most visits first
-- grain: unit; source: units_not_told_apart
select
    unit_id,
    address,
    units,
    because,
    visits,
    first_on,
    last_on,
    readings
from units_not_told_apart
order by visits desc, unit_id asc
limit 100;
