-- unit_capacitor_readings: the readings behind a capacitor reason, each with the file and line it came from
-- grain: one row per visit, unit, section and part read; value bound: $unit_ids; source: capacitor_readings, note_readings, visits
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
)

select
    capacitor_readings.unit_id,
    capacitor_readings.visit_id,
    capacitor_readings.visit_date,
    capacitor_readings.section,
    capacitor_readings.series,
    capacitor_readings.started_on,
    capacitor_readings.start_kind,
    capacitor_readings.rated_uf,
    capacitor_readings.rated_source,
    capacitor_readings.tolerance_pct,
    capacitor_readings.measured_uf,
    capacitor_readings.method,
    capacitor_readings.drift_pct,
    capacitor_readings.out_of_tolerance,
    capacitor_readings.suspect,
    capacitor_readings.technician,
    capacitor_readings.at_replacement,
    capacitor_readings.is_new_part,
    told.snippet,
    visits.source_file,
    visits.source_line
from asked
inner join capacitor_readings
    on asked.unit_id = capacitor_readings.unit_id
left join note_readings as told
    on capacitor_readings.unit_id = told.unit_id
    and capacitor_readings.visit_id = told.visit_id
    and capacitor_readings.method = 'from_notes'
    and told.used
    and told.field = concat(
        capacitor_readings.section, '_uf', case when capacitor_readings.is_new_part then '_after' else '' end
    )
left join visits
    on capacitor_readings.unit_id = visits.unit_id and capacitor_readings.visit_id = visits.visit_id
order by
    capacitor_readings.unit_id asc,
    capacitor_readings.section desc,
    capacitor_readings.visit_date asc,
    capacitor_readings.visit_id asc,
    capacitor_readings.is_new_part asc,
    capacitor_readings.series asc,
    capacitor_readings.method asc;
