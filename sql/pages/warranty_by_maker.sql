-- warranty_by_maker: money by maker
-- grain: one row per maker, most money first; source: warranty_money, warranty_credit_days
with money as (
    select
        claim_to,
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
    group by claim_to
),

days as (
    select
        claim_to,
        count(*) filter (where state = 'credited' and days_at_most is not null) as credits_seen,
        median(days_at_most) filter (where state = 'credited') as days_to_credit,
        count(days_waiting) as waiting_claims,
        median(days_waiting) as days_waiting,
        max(days_waiting) as longest_waiting,
        count(*) filter (where days_since_filed > 90) as filed_long_ago,
        count(*) filter (where days_since_filed > 90 and state <> 'filed') as long_ago_answered
    from warranty_credit_days
    group by claim_to
)

select
    money.claim_to,
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
    on money.claim_to is not distinct from days.claim_to
order by
    money.recovered + money.waiting + money.lost_denied + money.lost_lapsed desc,
    money.claim_to asc nulls last;
