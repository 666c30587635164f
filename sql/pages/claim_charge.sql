-- claim_charge: charge readings of the units with an open claim
-- grain: one row per visit; source: charge_readings, warranty
select
    readings.unit_id,
    readings.visit_id,
    readings.visit_date,
    readings.charge_verdict,
    readings.superheat_deviation_f,
    readings.subcooling_deviation_f,
    visits.refrigerant_added_oz,
    visits.leak_found,
    visits.source_file,
    visits.source_line
from charge_readings as readings
left join visits
    on readings.unit_id = visits.unit_id and readings.visit_id = visits.visit_id
where readings.unit_id in (
    select unit_id
    from warranty
    where state in ('to_file', 'test_before_lapse', 'filed')
)
-- a visit that says nothing of the charge proves nothing
and (
    readings.superheat_deviation_f is not null
    or readings.subcooling_deviation_f is not null
    or visits.refrigerant_added_oz > 0
    or visits.leak_found is not null
)
order by
    readings.unit_id,
    readings.visit_date desc;
