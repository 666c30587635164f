-- parts_and_makes_callbacks: trouble soon after a visit
-- grain: one row per technician or component, and window; source: callbacks
select
    group_by,
    group_value as who,
    within_days,
    jobs,
    back,
    per_100_jobs,
    low,
    high,
    expected,
    ratio,
    ratio_low,
    ratio_high,
    caution
from callbacks
where group_by = 'technician' or jobs >= 5
order by
    group_by desc,
    within_days,
    group_value
limit 120;
