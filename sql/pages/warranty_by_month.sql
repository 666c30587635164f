-- warranty_by_month: money and days by month
-- grain: one row per month of the visit, newest 24; source: warranty_money, warranty_credit_days
with money as (
    select
        month,
        sum(filed)::bigint as filed,
        sum(credited)::bigint as credited,
        sum(denied)::bigint as denied,
        sum(lapsed)::bigint as lapsed,
        round(sum(recovered), 9) as recovered,
        round(sum(waiting), 9) as waiting,
        round(sum(to_file), 9) as to_file,
        round(sum(lost_denied), 9) as lost_denied,
        round(sum(lost_lapsed), 9) as lost_lapsed
    from warranty_money
    group by month
),

days as (
    select
        month,
        count(*) filter (where state = 'credited' and days_at_most is not null) as credits_seen,
        median(days_at_most) filter (where state = 'credited') as days_to_credit,
        max(days_waiting) as longest_waiting
    from warranty_credit_days
    group by month
)

select
    money.month,
    money.filed,
    money.credited,
    money.denied,
    money.lapsed,
    money.recovered,
    money.waiting,
    money.to_file,
    money.lost_denied,
    money.lost_lapsed,
    days.credits_seen,
    days.days_to_credit,
    days.longest_waiting
from money
left join days
    on money.month = days.month
order by money.month desc
limit 24;
