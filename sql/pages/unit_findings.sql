-- unit_findings: what was found on a unit and not put right on the spot, the open ones first
-- grain: one row per finding; value bound: $unit_ids; source: open_findings
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
)

select
    open_findings.unit_id,
    open_findings.finding,
    open_findings.found_on,
    open_findings.evidence,
    open_findings.decision,
    open_findings.decided_on,
    open_findings.days_open,
    open_findings.resolved_on,
    open_findings.resolved_by,
    open_findings.verified
from asked
inner join open_findings
    on asked.unit_id = open_findings.unit_id
order by
    open_findings.unit_id asc,
    open_findings.resolved_on is not null asc,
    open_findings.found_on desc,
    open_findings.finding asc;
