-- fleet_review_repairs: what customers have approved, or what waits for a part, and is still open; the oldest by name
-- grain: one row where there is any, else none; source: open_findings, unit_risk, units, sites
with agreed as (
    select
        open_findings.unit_id,
        open_findings.finding,
        open_findings.found_on,
        unit_risk.as_of
    from open_findings
    inner join unit_risk
        on open_findings.unit_id = unit_risk.unit_id
    where open_findings.resolved_on is null
        and open_findings.decision in ('approved', 'waiting_for_part')
),

counted as (
    select
        unit_id,
        finding,
        found_on,
        count(*) over () as findings,
        row_number() over (order by found_on asc, unit_id asc, finding asc) as place
    from agreed
)

select
    counted.findings,
    counted.finding,
    counted.found_on,
    counted.unit_id,
    sites.customer_name,
    sites.phone,
    sites.address
from counted
left join units
    on counted.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
where counted.place = 1;
