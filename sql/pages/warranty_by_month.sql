-- warranty_by_month: money and days by month
-- grain: one row per month of the visit, newest 24; source: int_warranty_summed
select
    month,
    filed,
    credited,
    denied,
    lapsed,
    recovered,
    waiting,
    to_file,
    lost_denied,
    lost_lapsed,
    credits_seen,
    days_to_credit,
    longest_waiting
from int_warranty_summed
where summed_by = 'month'
order by month desc
limit 24;
