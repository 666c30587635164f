-- suspects: readings that were stored but are not believed, and why
-- grain: one row per visit, unit, field and reason
-- source: int_row_suspects (the checks on one row), core.capacitor_suspects and core.charge_suspects (enrich)
-- consumers: data quality page
create or replace view suspects as
with single_rows as (
    select
        unit_id,
        visit_id,
        field,
        reason,
        message
    from int_row_suspects
),

capacitors as (
    select
        unit_id,
        visit_id,
        field,
        reason,
        message
    from core.capacitor_suspects
),

charges as (
    select
        unit_id,
        visit_id,
        field,
        reason,
        message
    from core.charge_suspects
),

every_one as (
    select
        unit_id,
        visit_id,
        field,
        reason,
        message
    from single_rows
    union all
    select
        unit_id,
        visit_id,
        field,
        reason,
        message
    from capacitors
    union all
    select
        unit_id,
        visit_id,
        field,
        reason,
        message
    from charges
)

select
    unit_id,
    visit_id,
    field,
    reason,
    min(message) as message
from every_one
group by unit_id, visit_id, field, reason;
