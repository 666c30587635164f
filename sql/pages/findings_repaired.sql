-- findings_repaired: what was put right in the last two years and is not yet shown by a reading to be in order
-- grain: one row per finding, at most 200, newest first; source: open_findings, unit_risk, units, sites
select
    open_findings.unit_id,
    open_findings.finding,
    open_findings.found_on,
    open_findings.resolved_on,
    open_findings.resolved_by,
    sites.customer_name,
    sites.address
from open_findings
inner join unit_risk
    on open_findings.unit_id = unit_risk.unit_id
left join units
    on open_findings.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
where not open_findings.verified
    and open_findings.resolved_on > unit_risk.as_of - interval 24 month
order by open_findings.resolved_on desc, open_findings.unit_id asc, open_findings.finding asc
limit 200;
