-- unit_warranty: what is covered, claimed or to be tested on a unit
-- grain: one row per claim there is or may be; value bound: $unit_ids; source: warranty
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
)

select
    warranty.unit_id,
    warranty.part,
    warranty.section,
    warranty.state,
    warranty.covered_until,
    warranty.deadline,
    warranty.days_left,
    warranty.amount,
    warranty.visit_date,
    warranty.missing,
    warranty.source_file,
    warranty.source_line
from asked
inner join warranty
    on asked.unit_id = warranty.unit_id
order by
    warranty.unit_id asc,
    warranty.deadline asc nulls last,
    warranty.visit_date desc nulls last,
    warranty.claim_id asc;
