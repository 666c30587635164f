-- spring_round_left: what is due and on no route, and what leaving it costs
-- grain: one row per unit due and on no route, dearest first; source: core.plan_left_out, units, sites, unit_risk
select
    left_out.unit_id,
    left_out.why,
    left_out.value,
    risk.leading_reason,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city,
    sites.agreement
from core.plan_left_out as left_out
left join units
    on left_out.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
left join unit_risk as risk
    on left_out.unit_id = risk.unit_id
order by left_out.value desc nulls last, left_out.unit_id asc;
