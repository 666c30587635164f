-- unit_moves_counted: how many derived ids this run found named, and how many of their visits there are
-- grain: one row; source: unit_moves_changed, core.visit_moves
select
    count(distinct changed.told_unit_id) as units,
    count(visits.told_visit_id) as visits
from unit_moves_changed as changed
left join core.visit_moves as visits
    on changed.told_unit_id = visits.told_unit_id
where changed.moved;
