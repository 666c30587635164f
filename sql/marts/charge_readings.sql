-- charge_readings: superheat and subcooling of a visit against their targets, and the verdict or why there is none
-- grain: one row per visit and unit with readings; key unit_id, visit_id
-- source: core.charge_readings, core.note_readings (enrich), not_testable_reasons; from_notes names what only the note told; consumers: unit pages, data quality page
-- the _off_ columns: actual minus what was expected, and its standard deviation; what likely_fault rests on
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
        not_testable_codes,
        likely_fault,
        p_fault,
        runner_up,
        next_reading,
        charge_level_low_pct,
        charge_level_high_pct,
        leak_loss_f,
        technician,
        mode,
        mode_source,
        refrigerant,
        metering,
        wet_bulb_source,
        outdoor_db_f,
        return_db_f,
        return_wb_f,
        supply_db_f,
        verdict_basis,
        p_charge_low,
        p_charge_high,
        deviation_sd_f,
        superheat_sd_f,
        subcooling_sd_f,
        superheat_source,
        subcooling_source,
        target_source,
        airflow,
        airflow_because,
        static_in_wc,
        airflow_cfm,
        table_airflow_cfm,
        flood_back,
        fits_low_airflow,
        p_low_airflow,
        fault_because,
        expected_from,
        capacity_btuh,
        sensible_share,
        suspect,
        suction_saturation_off_f,
        suction_saturation_off_sd_f,
        superheat_off_f,
        superheat_off_sd_f,
        liquid_saturation_off_f,
        liquid_saturation_off_sd_f,
        subcooling_off_f,
        subcooling_off_sd_f,
        discharge_line_off_f,
        discharge_line_off_sd_f,
        condenser_rise_off_f,
        condenser_rise_off_sd_f,
        temperature_split_off_f,
        temperature_split_off_sd_f
    from core.charge_readings
),

told as (
    select
        unit_id,
        visit_id,
        string_agg(field, '; ' order by field) as from_notes
    from core.note_readings
    where used and kind = 'reading' and not regexp_matches(field, '_uf(_after)?$')
    group by unit_id, visit_id
),

-- the words of each set of codes that is met
codes as (
    select
        not_testable_codes,
        unnest(string_split(not_testable_codes, '; ')) as code
    from (select distinct not_testable_codes from core.charge_readings)
),

said as (
    select
        codes.not_testable_codes,
        string_agg(not_testable_reasons.words, '; ' order by not_testable_reasons.place) as not_testable_because
    from codes
    inner join not_testable_reasons
        on codes.code = not_testable_reasons.code
    group by codes.not_testable_codes
)

select
    readings.unit_id,
    readings.visit_id,
    readings.visit_date,
    readings.suction_saturation_f,
    readings.liquid_saturation_f,
    readings.superheat_f,
    readings.target_superheat_f,
    readings.superheat_deviation_f,
    readings.subcooling_f,
    readings.target_subcooling_f,
    readings.subcooling_deviation_f,
    readings.temperature_split_f,
    readings.charge_verdict,
    readings.borderline,
    said.not_testable_because,
    readings.not_testable_codes,
    readings.likely_fault,
    readings.p_fault,
    readings.runner_up,
    readings.next_reading,
    readings.charge_level_low_pct,
    readings.charge_level_high_pct,
    readings.leak_loss_f,
    readings.technician,
    readings.mode,
    readings.mode_source,
    readings.refrigerant,
    readings.metering,
    readings.wet_bulb_source,
    readings.outdoor_db_f,
    readings.return_db_f,
    readings.return_wb_f,
    readings.supply_db_f,
    readings.verdict_basis,
    readings.p_charge_low,
    readings.p_charge_high,
    readings.deviation_sd_f,
    readings.superheat_sd_f,
    readings.subcooling_sd_f,
    readings.superheat_source,
    readings.subcooling_source,
    readings.target_source,
    readings.airflow,
    readings.airflow_because,
    readings.static_in_wc,
    readings.airflow_cfm,
    readings.table_airflow_cfm,
    readings.flood_back,
    readings.fits_low_airflow,
    readings.p_low_airflow,
    readings.fault_because,
    readings.expected_from,
    readings.capacity_btuh,
    readings.sensible_share,
    readings.suspect,
    readings.suction_saturation_off_f,
    readings.suction_saturation_off_sd_f,
    readings.superheat_off_f,
    readings.superheat_off_sd_f,
    readings.liquid_saturation_off_f,
    readings.liquid_saturation_off_sd_f,
    readings.subcooling_off_f,
    readings.subcooling_off_sd_f,
    readings.discharge_line_off_f,
    readings.discharge_line_off_sd_f,
    readings.condenser_rise_off_f,
    readings.condenser_rise_off_sd_f,
    readings.temperature_split_off_f,
    readings.temperature_split_off_sd_f,
    told.from_notes
from readings
left join told
    on readings.unit_id = told.unit_id and readings.visit_id = told.visit_id
left join said
    on readings.not_testable_codes = said.not_testable_codes;
