-- visits_have_a_unit: visits whose unit has no row in units
-- grain: offending visit; source: visits, units
select
    visits.visit_id,
    visits.unit_id
from visits
anti join units
    on visits.unit_id = units.unit_id;
