-- lifetimes: how long units and components last, with delayed entry and removals by choice censored
-- grain: one row per component (unit = whole units) and make, make null = all makes; key component, make
-- source: core.lifetimes (forecast.lifetimes); consumers: parts and makes page
create or replace view lifetimes as
select
    component,
    make,
    lives,
    failures,
    replaced_in_time,
    removed_by_choice,
    reason_not_known,
    years,
    method,
    shape,
    scale_years,
    median_years,
    median_low,
    median_high,
    b10_years,
    b10_low,
    b10_high,
    oldest_seen,
    curve_from,
    curve_median,
    caveat
from core.lifetimes;
