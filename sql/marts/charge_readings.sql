-- charge_readings: superheat and subcooling of a visit against their targets, and the verdict or why there is none
-- grain: one row per visit and unit with readings; key unit_id, visit_id
-- source: core.charge_readings (enrich); consumers: unit pages, data quality page
create or replace view charge_readings as
with readings as (
    select
        unit_id,
        visit_id,
        visit_date,
        suction_saturation_f,
        liquid_saturation_f,
        superheat_f,
        target_superheat_f,
        superheat_deviation_f,
        subcooling_f,
        target_subcooling_f,
        subcooling_deviation_f,
        temperature_split_f,
        charge_verdict,
        borderline,
        not_testable_because,
        likely_fault,
        p_fault,
        next_reading,
        charge_level_low_pct,
        charge_level_high_pct,
        leak_loss_f
    from core.charge_readings
)

select
    unit_id,
    visit_id,
    visit_date,
    suction_saturation_f,
    liquid_saturation_f,
    superheat_f,
    target_superheat_f,
    superheat_deviation_f,
    subcooling_f,
    target_subcooling_f,
    subcooling_deviation_f,
    temperature_split_f,
    charge_verdict,
    borderline,
    not_testable_because,
    likely_fault,
    p_fault,
    next_reading,
    charge_level_low_pct,
    charge_level_high_pct,
    leak_loss_f
from readings;
