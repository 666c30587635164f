-- derived_units_are_stored: derived rows of units or visits that are not stored
-- grain: offending unit and table; source: core.capacitor_series, core.capacitor_readings, core.charge_readings, units, visits
select distinct
    'capacitor_series' as table_name,
    series.unit_id
from core.capacitor_series as series
anti join units
    on series.unit_id = units.unit_id
union all
select distinct
    'capacitor_readings' as table_name,
    readings.unit_id
from core.capacitor_readings as readings
anti join visits
    on readings.unit_id = visits.unit_id and readings.visit_id = visits.visit_id
union all
select distinct
    'charge_readings' as table_name,
    readings.unit_id
from core.charge_readings as readings
anti join visits
    on readings.unit_id = visits.unit_id and readings.visit_id = visits.visit_id;
