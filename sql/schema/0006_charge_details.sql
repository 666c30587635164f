-- charge_details: what the charge views and pages need beside the verdict, and the sign table that a likely fault is read from
-- grain: charge_readings one row per visit and unit, fault_signs one per metering device, fault and reading; source: pipeline.enrich
alter table core.charge_readings add column if not exists technician varchar;
alter table core.charge_readings add column if not exists mode varchar;
alter table core.charge_readings add column if not exists mode_source varchar;
alter table core.charge_readings add column if not exists refrigerant varchar;
alter table core.charge_readings add column if not exists metering varchar;
alter table core.charge_readings add column if not exists wet_bulb_source varchar;
alter table core.charge_readings add column if not exists outdoor_db_f double;
alter table core.charge_readings add column if not exists return_db_f double;
alter table core.charge_readings add column if not exists return_wb_f double;
alter table core.charge_readings add column if not exists supply_db_f double;
alter table core.charge_readings add column if not exists verdict_basis varchar;
alter table core.charge_readings add column if not exists p_charge_low double;
alter table core.charge_readings add column if not exists p_charge_high double;
alter table core.charge_readings add column if not exists deviation_sd_f double;
alter table core.charge_readings add column if not exists superheat_sd_f double;
alter table core.charge_readings add column if not exists subcooling_sd_f double;
alter table core.charge_readings add column if not exists superheat_source varchar;
alter table core.charge_readings add column if not exists subcooling_source varchar;
alter table core.charge_readings add column if not exists target_source varchar;
alter table core.charge_readings add column if not exists airflow varchar;
alter table core.charge_readings add column if not exists airflow_because varchar;
alter table core.charge_readings add column if not exists static_in_wc double;
alter table core.charge_readings add column if not exists airflow_cfm double;
alter table core.charge_readings add column if not exists flood_back boolean;
alter table core.charge_readings add column if not exists fits_low_airflow boolean;
alter table core.charge_readings add column if not exists p_low_airflow double;
alter table core.charge_readings add column if not exists fault_because varchar;
alter table core.charge_readings add column if not exists expected_from varchar;
alter table core.charge_readings add column if not exists capacity_btuh double;
alter table core.charge_readings add column if not exists sensible_share double;
alter table core.charge_readings add column if not exists suspect varchar;
alter table core.charge_readings add column if not exists suction_saturation_off_f double;
alter table core.charge_readings add column if not exists suction_saturation_off_sd_f double;
alter table core.charge_readings add column if not exists superheat_off_f double;
alter table core.charge_readings add column if not exists superheat_off_sd_f double;
alter table core.charge_readings add column if not exists liquid_saturation_off_f double;
alter table core.charge_readings add column if not exists liquid_saturation_off_sd_f double;
alter table core.charge_readings add column if not exists subcooling_off_f double;
alter table core.charge_readings add column if not exists subcooling_off_sd_f double;
alter table core.charge_readings add column if not exists discharge_line_off_f double;
alter table core.charge_readings add column if not exists discharge_line_off_sd_f double;
alter table core.charge_readings add column if not exists condenser_rise_off_f double;
alter table core.charge_readings add column if not exists condenser_rise_off_sd_f double;
alter table core.charge_readings add column if not exists temperature_split_off_f double;
alter table core.charge_readings add column if not exists temperature_split_off_sd_f double;

create table core.fault_signs (
    -- one row per metering device, fault and reading; table_says is null where the table says nothing
    metering varchar not null,
    fault varchar not null,
    reading varchar not null,
    table_says varchar
);
