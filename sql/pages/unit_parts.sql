-- unit_parts: the parts fitted to a unit, newest first, up to as-of; a part waiting for its visit or unit is left out
-- grain: one row per part fitted and unit; value bound: $unit_ids; source: int_parts_placed, unit_risk
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
)

select
    placed.unit_id,
    placed.visit_date,
    placed.visit_id,
    placed.part,
    placed.quantity,
    placed.part_make,
    placed.part_number,
    placed.cap_herm_uf,
    placed.cap_fan_uf,
    placed.cap_blower_uf,
    placed.cap_volts,
    placed.claim_status,
    placed.source_file,
    placed.source_line
from asked
inner join unit_risk
    on asked.unit_id = unit_risk.unit_id
inner join int_parts_placed as placed
    on asked.unit_id = placed.unit_id and placed.visit_date <= unit_risk.as_of
where placed.waiting_for is null
order by
    placed.unit_id asc,
    placed.visit_date desc,
    placed.visit_id asc,
    placed.part asc,
    placed.source_file asc,
    placed.source_line asc,
    placed.row_n asc;
