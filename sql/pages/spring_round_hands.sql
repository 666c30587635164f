-- spring_round_hands: the hands there are: each technician's days of the round by week, and the minutes that may be planned
-- grain: one row per technician and week; source: core.plan_days
select
    technician,
    cast(date_trunc('week', "date") as date) as week_start,
    count(*) as days,
    sum(work_limit_minutes) as work_minutes
from core.plan_days
group by technician, week_start
order by week_start, technician;
