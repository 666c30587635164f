-- capacitor_readings: every reading of a capacitor section against the rating in force that day
-- grain: one row per visit, unit and section (a new part's reading is a row of its own); key unit_id, visit_id, section, is_new_part
-- source: core.capacitor_readings (enrich); consumers: unit pages, data quality page
create or replace view capacitor_readings as
with readings as (
    select
        unit_id,
        visit_id,
        visit_date,
        section,
        series,
        rated_uf,
        rated_source,
        tolerance_pct,
        measured_uf,
        method,
        drift_pct,
        out_of_tolerance,
        suspect,
        technician,
        started_on,
        start_kind,
        at_replacement,
        is_new_part,
        scheduled
    from core.capacitor_readings
)

select
    unit_id,
    visit_id,
    visit_date,
    section,
    series,
    rated_uf,
    rated_source,
    measured_uf,
    method,
    drift_pct,
    out_of_tolerance,
    suspect,
    tolerance_pct,
    technician,
    started_on,
    start_kind,
    at_replacement,
    is_new_part,
    scheduled
from readings;
