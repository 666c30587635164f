-- parts_and_makes_hazards: capacitor sections by years in service
-- grain: one row per section and band; source: capacitor_hazards
select
    section,
    age_from,
    age_to,
    section_years,
    went_out,
    per_100_section_years,
    low,
    high
from capacitor_hazards
where section_years > 0
order by
    section,
    age_from;
