-- units_reached: units with a visit that one as-of counts and the other does not
-- grain: one row per unit; values bound: $low, $high (the two as-of dates in order); source: visits
select distinct unit_id
from visits
where visit_date > $low
    and visit_date <= $high
order by unit_id asc;
