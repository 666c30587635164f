-- claim_readings: capacitor readings of the units with an open claim
-- grain: one row per reading; source: capacitor_readings, warranty
select
    readings.unit_id,
    readings.visit_id,
    readings.visit_date,
    readings.section,
    readings.measured_uf,
    readings.rated_uf,
    readings.drift_pct,
    readings.tolerance_pct,
    readings.method,
    readings.suspect,
    readings.at_replacement,
    readings.is_new_part,
    readings.technician,
    visits.source_file,
    visits.source_line
from capacitor_readings as readings
left join visits
    on readings.unit_id = visits.unit_id and readings.visit_id = visits.visit_id
where readings.unit_id in (
    select unit_id
    from warranty
    where state in ('to_file', 'test_before_lapse', 'filed')
)
order by
    readings.unit_id,
    readings.visit_date desc,
    readings.section;
