-- data_quality_named: how many units are known by a serial or a place alone, and how many of such ids were given to a named unit
-- grain: one row; source: visits, core.visit_moves
with derived as (
    select distinct unit_id
    from visits
    where regexp_full_match(unit_id, 'unit-[0-9a-f]{10}')
),

moved as (
    select
        count(distinct told_unit_id) as ids,
        count(distinct unit_id) as units,
        count(*) as visits
    from core.visit_moves
)

select
    (select count(*) from derived) as by_place,
    ids as moved_ids,
    units as moved_units,
    visits as moved_visits
from moved;
