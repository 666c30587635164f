-- warranty_money: recovered, waiting and lost, by maker and month of the visit
-- grain: one row per maker (null = not known) and month; key claim_to, month
-- source: warranty; consumers: warranty page
create or replace view warranty_money as
with claims as (
    select
        claim_to,
        date_trunc('month', visit_date)::date as month,
        state,
        amount,
        covered_until >= visit_date as was_covered
    from warranty
    where visit_date is not null
)

select
    claim_to,
    month,
    count(*) filter (where state in ('filed', 'credited', 'denied')) as filed,
    count(*) filter (where state = 'credited') as credited,
    count(*) filter (where state = 'denied') as denied,
    count(*) filter (where state = 'lapsed') as lapsed,
    coalesce(round(sum(amount) filter (where state = 'credited'), 9), 0) as recovered,
    coalesce(round(sum(amount) filter (where state = 'filed'), 9), 0) as waiting,
    coalesce(round(sum(amount) filter (where state = 'to_file'), 9), 0) as to_file,
    coalesce(round(sum(amount) filter (where state = 'denied'), 9), 0) as lost_denied,
    -- what was not covered when it failed was never the shop's to claim
    coalesce(round(sum(amount) filter (where state = 'lapsed' and was_covered), 9), 0) as lost_lapsed
from claims
group by
    claim_to,
    month;
