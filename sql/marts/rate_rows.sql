-- rate_rows: what each unit adds to each group of failure_rates
-- grain: one row per grouping, group and unit; key group_by, group_value, unit_id
-- source: core.rate_rows (forecast.failure_rates); consumers: rows behind the rates
create or replace view rate_rows as
select
    group_by,
    group_value,
    unit_id,
    years as unit_years,
    failures
from core.rate_rows;
