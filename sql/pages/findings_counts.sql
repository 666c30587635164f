-- findings_counts: what is open on active units, by kind, with the customers' decisions and the age
-- grain: one row per kind of finding, most open first; source: open_findings, unit_risk
select
    open_findings.finding,
    count(*) as still_open,
    count(distinct open_findings.unit_id) as units,
    count(*) filter (where open_findings.days_open < 90) as under_90_days,
    count(*) filter (where open_findings.days_open between 90 and 365) as under_1_year,
    count(*) filter (where open_findings.days_open > 365) as over_1_year,
    count(*) filter (where open_findings.decision = 'approved') as approved,
    count(*) filter (where open_findings.decision = 'waiting_for_part') as waiting_for_part,
    count(*) filter (where open_findings.decision = 'later') as later,
    count(*) filter (where open_findings.decision = 'declined') as declined,
    count(*) filter (where open_findings.decision is null) as not_asked
from open_findings
inner join unit_risk
    on open_findings.unit_id = unit_risk.unit_id
where open_findings.resolved_on is null
group by open_findings.finding
order by still_open desc, open_findings.finding asc;
