-- parts_and_makes_funnel: every make, for the funnel
-- grain: one row per make with unit-years; source: failure_rates
select
    group_value,
    unit_years,
    failures,
    rate_per_100_unit_years,
    higher
from failure_rates
where group_by = 'make' and group_value <> 'not known' and unit_years > 0
order by unit_years, group_value;
