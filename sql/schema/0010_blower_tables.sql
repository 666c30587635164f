-- blower_tables: the airflow that the shop's own fan tables give, beside the charge readings
-- grain: charge_readings one row per visit and unit; source: pipeline.enrich
alter table core.charge_readings add column if not exists table_airflow_cfm double;
