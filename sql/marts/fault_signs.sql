-- fault_signs: what each reading does under each fault, as the likely faults of charge_readings are read from
-- grain: one row per metering device, fault and reading (a column of charge_readings); key metering, fault, reading
-- source: core.fault_signs (enrich, reference/fault_signs.csv); consumers: unit pages
create or replace view fault_signs as
select
    metering,
    fault,
    reading,
    table_says
from core.fault_signs;
