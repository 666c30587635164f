-- failure_rates: failures per 100 unit-years by group, with exact limits and a rate drawn towards the mean
-- grain: one row per grouping and group; key group_by, group_value
-- source: core.failure_rates (forecast.failure_rates); consumers: parts and makes page
create or replace view failure_rates as
select
    group_by,
    group_value,
    unit_years,
    failures,
    rate_per_100_unit_years,
    rate_low,
    rate_high,
    shrunk_rate,
    shrunk_low,
    shrunk_high,
    units,
    expected_failures,
    expected_at_age,
    p_higher,
    higher,
    verdict,
    sentence
from core.failure_rates;
