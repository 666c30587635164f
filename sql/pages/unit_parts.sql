-- unit_parts: the parts fitted to a unit, newest first; a part row without a unit counts for every unit of its ticket
-- grain: one row per part fitted and unit; value bound: $unit_ids; source: parts, visits, unit_risk
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
)

select
    visits.unit_id,
    visits.visit_date,
    parts.visit_id,
    parts.part,
    parts.quantity,
    parts.part_make,
    parts.part_number,
    parts.cap_herm_uf,
    parts.cap_fan_uf,
    parts.cap_blower_uf,
    parts.cap_volts,
    parts.claim_status,
    parts.source_file,
    parts.source_line
from asked
inner join unit_risk
    on asked.unit_id = unit_risk.unit_id
inner join visits
    on asked.unit_id = visits.unit_id and visits.visit_date <= unit_risk.as_of
inner join parts
    on visits.visit_id = parts.visit_id and (parts.unit_id is null or parts.unit_id = visits.unit_id)
order by visits.unit_id asc, visits.visit_date desc, parts.visit_id asc, parts.part asc, parts.source_line asc;
