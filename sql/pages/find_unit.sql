-- find_unit: every active unit with what people look it up by
-- grain: one row per active unit; source: unit_risk, units, sites
select
    unit_risk.unit_id,
    unit_risk.rank,
    unit_risk.flagged,
    unit_risk.p_failure,
    unit_risk.last_visit_on,
    sites.customer_name,
    sites.address,
    sites.city,
    sites.agreement_renews_on,
    units.unit_location,
    units.make
from unit_risk
left join units
    on unit_risk.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
order by unit_risk.rank asc;
