-- int_row_suspects: what the checks on one row hold not believable, under the visit and unit the row belongs to
-- grain: visit, unit, field and reason; source: core.suspects, core.visit_moves; consumers: suspects, enrich
create or replace view int_row_suspects as
with moves as (
    select
        told_visit_id,
        told_unit_id,
        visit_id,
        unit_id
    from core.visit_moves
),

told as (
    select
        unit_id,
        visit_id,
        field,
        reason,
        message
    from core.suspects
)

select
    coalesce(moves.unit_id, told.unit_id) as unit_id,
    coalesce(moves.visit_id, told.visit_id) as visit_id,
    told.field,
    told.reason,
    told.message
from told
left join moves
    on told.visit_id = moves.told_visit_id and told.unit_id = moves.told_unit_id;
