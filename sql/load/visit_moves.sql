-- visit_moves: the visits of moved units under the keys they would have had if their file had named the unit
-- a visit without a ticket number is known by its date and unit, so that the same visit told by two files meets itself
-- grain: visit and unit as told; source: imported.visits, core.unit_moves
delete from core.visit_moves;

insert into core.visit_moves by name
with moved as (
    select
        visits.visit_id as told_visit_id,
        visits.unit_id as told_unit_id,
        case
            when regexp_full_match(visits.visit_id, 'visit-[0-9a-f]{10}(-[0-9]+)?')
                then
                    'visit-'
                    || left(
                        sha256(
                            replace(cast(visits.visit_date as varchar), '-', ' ')
                            || '|'
                            || trim(regexp_replace(lower(moves.unit_id), '[^\p{L}\p{N}]+', ' ', 'g'))
                        ),
                        10
                    )
                    || regexp_extract(visits.visit_id, '^visit-[0-9a-f]{10}(-[0-9]+)?$', 1)
            else visits.visit_id
        end as visit_id,
        moves.unit_id
    from imported.visits as visits
    inner join core.unit_moves as moves
        on visits.unit_id = moves.told_unit_id
),

met as (
    select
        moved.*,
        own.visit_id is not null as is_named,
        row_number() over (
            partition by moved.visit_id, moved.unit_id
            order by moved.told_visit_id, moved.told_unit_id
        ) as n
    from moved
    left join imported.visits as own
        on moved.visit_id = own.visit_id and moved.unit_id = own.unit_id
)

select
    told_visit_id,
    told_unit_id,
    visit_id,
    unit_id,
    is_named or n > 1 as folded,
    (is_named and n = 1) or (not is_named and n = 2) as fills
from met;
