-- capacitor_hazards: how often capacitor sections go out of tolerance by years in service
-- grain: one row per section and band of years; key section, age_from
-- source: core.capacitor_hazards (forecast.capacitor_hazards); consumers: parts and makes page
create or replace view capacitor_hazards as
select
    section,
    age_from,
    age_to,
    section_years,
    went_out,
    per_100_section_years,
    low,
    high
from core.capacitor_hazards;
