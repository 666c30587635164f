-- recorded_values: what a meter computed beside the readings, and how far apart the two may lie
-- grain: core.charge_readings one row per visit and unit; source: pipeline.enrich.charge
alter table core.charge_readings add column if not exists split_sd_f double;
alter table core.charge_readings add column if not exists recorded_superheat_f double;
alter table core.charge_readings add column if not exists recorded_subcooling_f double;
alter table core.charge_readings add column if not exists recorded_split_f double;
alter table core.charge_readings add column if not exists superheat_apart_f double;
alter table core.charge_readings add column if not exists subcooling_apart_f double;
alter table core.charge_readings add column if not exists split_apart_f double;
