-- parts_and_makes_curves: survival curves of units and components
-- grain: one row per component, make and step; source: survival_curves
select
    component,
    make,
    age_years,
    at_risk,
    failures,
    survival,
    survival_low,
    survival_high
from survival_curves
order by
    component,
    make nulls first,
    age_years;
