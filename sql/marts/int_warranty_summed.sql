-- int_warranty_summed: claims and money, days to an answer and days waited so far, once by maker and once by month
-- grain: one row per maker (summed_by maker; null = not known) and one per month of the visit (summed_by month)
-- a median of days cannot be put together from months, so both groupings are taken from the claims themselves
-- source: warranty_money, warranty_credit_days; consumers: warranty page
create or replace view int_warranty_summed as
with money as (
    select
        if(grouping(claim_to) = 0, 'maker', 'month') as summed_by,
        claim_to,
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
    group by grouping sets (claim_to, month)
),

days as (
    select
        if(grouping(claim_to) = 0, 'maker', 'month') as summed_by,
        claim_to,
        month,
        count(*) filter (where state = 'credited' and days_at_most is not null) as credits_seen,
        median(days_at_most) filter (where state = 'credited') as days_to_credit,
        count(days_waiting) as waiting_claims,
        median(days_waiting) as days_waiting,
        max(days_waiting) as longest_waiting,
        count(*) filter (where days_since_filed > 90) as filed_long_ago,
        count(*) filter (where days_since_filed > 90 and state <> 'filed') as long_ago_answered
    from warranty_credit_days
    group by grouping sets (claim_to, month)
)

select
    money.summed_by,
    money.claim_to,
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
    days.waiting_claims,
    days.days_waiting,
    days.longest_waiting,
    days.filed_long_ago,
    days.long_ago_answered
from money
left join days
    on money.summed_by = days.summed_by
        and money.claim_to is not distinct from days.claim_to
        and money.month is not distinct from days.month;
