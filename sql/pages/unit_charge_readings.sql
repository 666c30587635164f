-- unit_charge_readings: superheat and subcooling of a unit against target, each with the file and line it came from
-- grain: one row per visit and unit with readings; value bound: $unit_ids; source: charge_readings, visits
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
)

select
    charge_readings.unit_id,
    charge_readings.visit_id,
    charge_readings.visit_date,
    charge_readings.superheat_f,
    charge_readings.target_superheat_f,
    charge_readings.superheat_deviation_f,
    charge_readings.subcooling_f,
    charge_readings.target_subcooling_f,
    charge_readings.subcooling_deviation_f,
    charge_readings.temperature_split_f,
    charge_readings.charge_verdict,
    charge_readings.borderline,
    charge_readings.not_testable_because,
    charge_readings.p_charge_low,
    charge_readings.p_charge_high,
    charge_readings.airflow,
    charge_readings.airflow_because,
    charge_readings.flood_back,
    charge_readings.likely_fault,
    charge_readings.p_fault,
    charge_readings.runner_up,
    charge_readings.expected_from,
    charge_readings.next_reading,
    charge_readings.charge_level_low_pct,
    charge_readings.charge_level_high_pct,
    charge_readings.capacity_btuh,
    charge_readings.sensible_share,
    charge_readings.airflow_cfm,
    charge_readings.table_airflow_cfm,
    visits.technician,
    visits.suction_psig,
    visits.liquid_psig,
    visits.outdoor_db_f,
    visits.refrigerant_added_oz,
    visits.source_file,
    visits.source_line
from asked
inner join charge_readings
    on asked.unit_id = charge_readings.unit_id
left join visits
    on charge_readings.unit_id = visits.unit_id and charge_readings.visit_id = visits.visit_id
order by charge_readings.unit_id asc, charge_readings.visit_date asc, charge_readings.visit_id asc;
