-- survival_curves: share still working by age, over all makes (make null) and by make
-- grain: one row per component, make and age; key component, make, age_years
-- source: core.survival_curves (forecast.lifetimes); consumers: parts and makes page
create or replace view survival_curves as
select
    component,
    make,
    age_years,
    at_risk,
    failures,
    survival,
    survival_low,
    survival_high
from core.survival_curves;
