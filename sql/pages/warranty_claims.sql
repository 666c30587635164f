-- warranty_claims: every claim there is or may be, with what a packet needs
-- grain: one row per claim, the nearest deadline first; source: warranty, units, sites, visits
select
    claims.claim_id,
    claims.unit_id,
    claims.part,
    claims.section,
    claims.state,
    claims.covered_until,
    claims.cover_basis,
    claims.amount,
    claims.deadline,
    claims.days_left,
    claims.claim_to,
    claims.visit_id,
    claims.visit_date,
    claims.claimed_on,
    claims.days_since_filed,
    claims.cost,
    claims.claim_amount,
    claims.customer_paid,
    claims.part_make,
    claims.serial_out,
    claims.serial_in,
    claims.evidence,
    claims.missing,
    claims.note,
    claims.source_file,
    claims.source_line,
    units.make,
    units.model,
    units.serial,
    units.installed_on,
    units.registered,
    units.registered_on,
    units.source_file as unit_file,
    units.source_line as unit_line,
    visits.visit_type,
    visits.cause,
    visits.technician,
    visits.source_file as visit_file,
    visits.source_line as visit_line,
    sites.customer_name,
    sites.address,
    sites.city
from warranty as claims
left join units
    on claims.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
left join visits
    on claims.unit_id = visits.unit_id and claims.visit_id = visits.visit_id
order by
    claims.deadline asc nulls last,
    claims.visit_date desc nulls first,
    claims.claim_id asc;
