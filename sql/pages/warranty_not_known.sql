-- warranty_not_known: fitted parts whose coverage cannot be known
-- grain: one row per reason; source: core.warranty_claims
select
    no_claim_because,
    count(*) as parts,
    count(distinct unit_id) as units,
    coalesce(round(sum(cost), 9), 0) as cost
from core.warranty_claims
where state is null and no_claim_because in ('no install date', 'no term is stated')
group by no_claim_because
order by parts desc;
