-- unit_visits: the visits to a unit, newest first, up to as-of
-- grain: one row per visit and unit; value bound: $unit_ids; source: visits, unit_risk
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
)

select
    visits.unit_id,
    visits.visit_id,
    visits.visit_date,
    visits.visit_type,
    visits.cause,
    visits.observations,
    visits.technician,
    visits.refrigerant_added_oz,
    visits.leak_found,
    visits.leak_location,
    visits.invoice_total,
    visits.notes,
    visits.source_file,
    visits.source_line
from asked
inner join unit_risk
    on asked.unit_id = unit_risk.unit_id
inner join visits
    on asked.unit_id = visits.unit_id and visits.visit_date <= unit_risk.as_of
order by visits.unit_id asc, visits.visit_date desc, visits.visit_id asc;
