-- parts_and_makes_lives: lifetimes of units and components
-- grain: one row per component and make; source: lifetimes
select
    component,
    make,
    lives,
    failures,
    replaced_in_time,
    removed_by_choice,
    reason_not_known,
    method,
    median_years,
    median_low,
    median_high,
    b10_years,
    b10_low,
    b10_high,
    oldest_seen,
    caveat
from lifetimes
order by
    component = 'unit' desc,
    component asc,
    make asc nulls first;
