-- warranty_by_maker: money by maker
-- grain: one row per maker, most money first; source: int_warranty_summed
select
    claim_to,
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
    waiting_claims,
    days_waiting,
    longest_waiting,
    filed_long_ago,
    long_ago_answered
from int_warranty_summed
where summed_by = 'maker'
order by
    recovered + waiting + lost_denied + lost_lapsed desc,
    claim_to asc nulls last;
