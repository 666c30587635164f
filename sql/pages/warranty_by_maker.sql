-- warranty_by_maker: money by maker
-- grain: one row per maker, most money first; source: warranty_money, warranty_credit_days
with money as (
    select
        claim_to,
        sum(filed)::bigint as filed,
        sum(credited)::bigint as credited,
        sum(denied)::bigint as denied,
        sum(lapsed)::bigint as lapsed,
        sum(recovered) as recovered,
        sum(waiting) as waiting,
        sum(to_file) as to_file,
        sum(lost_denied) as lost_denied,
        sum(lost_lapsed) as lost_lapsed
    from warranty_money
    group by claim_to
),

days as (
    select
        claim_to,
        median("days") as days_to_credit
    from warranty_credit_days
    where state = 'credited'
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
    days.days_to_credit
from money
left join days
    on money.claim_to is not distinct from days.claim_to
order by
    money.recovered + money.waiting + money.lost_denied + money.lost_lapsed desc,
    money.claim_to asc nulls last;
