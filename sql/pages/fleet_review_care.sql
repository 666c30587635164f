-- fleet_review_care: how much is found and open, and how many units are probably losing charge
-- grain: always exactly one row; source: open_findings, charge_trend, unit_risk
with findings as (
    select count(*) as findings_open
    from open_findings
    inner join unit_risk
        on open_findings.unit_id = unit_risk.unit_id
    where open_findings.resolved_on is null
),

leaks as (
    select count(*) as leaks_suspected
    from charge_trend
    inner join unit_risk
        on charge_trend.unit_id = unit_risk.unit_id
    where charge_trend.charge_loss_suspected
)

select
    findings.findings_open,
    leaks.leaks_suspected
from findings
cross join leaks;
