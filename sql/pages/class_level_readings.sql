-- class_level_readings: what the usual readings of an equipment class are learned from
-- grain: one row per visit and unit on which a fault can be judged; source: core.charge_readings; consumer: derive_charge
select
    unit_id,
    visit_id,
    visit_date,
    metering,
    refrigerant,
    mode,
    charge_verdict,
    borderline,
    flood_back,
    suspect,
    not_testable_because,
    observations,
    airflow,
    airflow_because,
    outdoor_db_f,
    return_db_f,
    return_wb_f,
    suction_saturation_f,
    liquid_saturation_f,
    superheat_f,
    subcooling_f,
    discharge_line_f,
    condenser_leaving_f,
    temperature_split_f,
    computed_target_f,
    highest_target_f,
    target_subcooling_f,
    plate_subcooling_f,
    suction_saturation_sd_f,
    liquid_saturation_sd_f,
    superheat_sd_f,
    subcooling_sd_f,
    target_sd_f
from core.charge_readings
where likely_fault is not null
order by unit_id asc, visit_date asc, visit_id asc;
