-- findings_list: open findings of active units in the order to act on them: promised, not asked, put off, declined;
-- in each the likeliest to fail first, so that the findings of one unit stand together
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
    case
        when open_findings.decision in ('approved', 'waiting_for_part') then 0
        when open_findings.decision is null then 1
        when open_findings.decision = 'declined' then 3
        else 2
    end asc,
    unit_risk.rank asc,
    open_findings.days_open desc,
    open_findings.finding asc
limit 1500;
