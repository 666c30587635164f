-- parts_and_makes_rates: the rates shown
-- grain: one row per grouping and group shown, as placed; source: failure_rates, int_rates_shown
select
    rates.group_by,
    rates.group_value,
    rates.unit_years,
    rates.failures,
    rates.rate_per_100_unit_years,
    rates.rate_low,
    rates.rate_high,
    rates.shrunk_rate,
    rates.units,
    rates.expected_failures,
    rates.higher,
    rates.verdict,
    rates.sentence,
    shown.place,
    shown.groups
from failure_rates as rates
inner join int_rates_shown as shown
    on rates.group_by = shown.group_by and rates.group_value = shown.group_value
order by
    rates.group_by,
    shown.place;
