-- repairs_gathered: repairs and their cost that a unit has gathered by an age, on average
-- grain: one row per measure (repairs, cost) and year of age; key what, age_years
-- source: core.repairs_gathered (forecast.gathered); consumers: parts and makes page
create or replace view repairs_gathered as
select
    what,
    age_years,
    at_risk,
    per_unit,
    per_unit_low,
    per_unit_high
from core.repairs_gathered;
