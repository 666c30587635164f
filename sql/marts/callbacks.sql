-- callbacks: trouble again within 30 and 90 days of a visit, by technician and component
-- grain: one row per technician or component, and number of days; key group_by, group_value, within_days
-- source: core.callbacks (forecast.callbacks); consumers: parts and makes page
create or replace view callbacks as
select
    group_by,
    group_value,
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
from core.callbacks;
