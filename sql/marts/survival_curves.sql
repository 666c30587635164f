-- survival_curves: share still working by age, over all makes
-- grain: one row per component and age; key component, age_years
-- source: core.survival_curves (forecast.lifetimes); consumers: parts and makes page
create or replace view survival_curves as
select
    component,
    age_years,
    at_risk,
    survival,
    survival_low,
    survival_high
from core.survival_curves;
