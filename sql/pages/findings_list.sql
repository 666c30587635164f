-- findings_list: open findings of active units, oldest first within what the shop itself can act on
-- grain: one row per open finding, at most 1,500; source: open_findings, unit_risk, units, sites
select
    open_findings.unit_id,
    open_findings.finding,
    open_findings.found_on,
    open_findings.evidence,
    open_findings.decision,
    open_findings.decided_on,
    open_findings.days_open,
    unit_risk.flagged,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city
from open_findings
inner join unit_risk
    on open_findings.unit_id = unit_risk.unit_id
left join units
    on open_findings.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
where open_findings.resolved_on is null
order by
    coalesce(open_findings.decision = 'declined', false) asc,
    open_findings.days_open desc,
    open_findings.unit_id asc,
    open_findings.finding asc
limit 1500;
