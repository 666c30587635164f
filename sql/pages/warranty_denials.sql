-- warranty_denials: what makers deny
-- grain: one row per maker and part with a denial; source: warranty
select
    claim_to,
    part,
    count(*) filter (where state = 'denied') as denied,
    count(*) filter (where state in ('denied', 'credited')) as settled,
    coalesce(round(sum(amount) filter (where state = 'denied'), 9), 0) as amount,
    mode(missing) filter (where state = 'denied') as missing
from warranty
group by
    claim_to,
    part
having count(*) filter (where state = 'denied') > 0
order by
    denied desc,
    claim_to asc,
    part asc
limit 40;
