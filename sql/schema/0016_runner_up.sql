-- runner_up: the answer that a named fault is to be told from, beside the charge readings
-- grain: charge_readings one row per visit and unit; source: pipeline.enrich
alter table core.charge_readings add column if not exists runner_up varchar;
