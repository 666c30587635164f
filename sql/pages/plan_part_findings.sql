-- plan_part_findings: what stands open on a unit that a part would put right, and parts the customer has agreed to
-- grain: one row per unit, finding and decision; source: open_findings, int_recommendations_placed, int_parts_placed, unit_risk
with open_ones as (
    select
        unit_id,
        finding,
        decision
    from open_findings
    where resolved_on is null
),

agreed as (
    select
        placed.unit_id,
        placed.item as finding,
        placed.decision
    from int_recommendations_placed as placed
    inner join unit_risk
        on placed.unit_id = unit_risk.unit_id
    where
        placed.decision in ('approved', 'waiting_for_part')
        and placed.visit_date between unit_risk.as_of - interval 12 month and unit_risk.as_of
        and not exists (
            select 1
            from int_parts_placed as parts
            where
                parts.unit_id = placed.unit_id
                and parts.part = placed.item
                and parts.visit_date >= placed.visit_date
        )
)

select
    unit_id,
    finding,
    decision
from open_ones
union
select
    unit_id,
    finding,
    decision
from agreed
order by unit_id, finding, decision;
