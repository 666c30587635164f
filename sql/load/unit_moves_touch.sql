-- unit_moves_touch: both ends of each move that came or went, and of each move one end of which the run touched
-- grain: unit; source: core.unit_moves, unit_moves_changed, staging.touched_units
insert into staging.touched_units
select told_unit_id as unit_id
from unit_moves_changed
union
select unit_id
from unit_moves_changed;

insert into staging.touched_units
with touched as (
    select distinct unit_id from staging.touched_units
),

ends as (
    select
        moves.told_unit_id,
        moves.unit_id
    from core.unit_moves as moves
    where moves.unit_id in (select unit_id from touched) or moves.told_unit_id in (select unit_id from touched)
)

select told_unit_id as unit_id
from ends
union
select unit_id
from ends;
