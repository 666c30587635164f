-- unit_ids: every unit with a stored visit or a row of its own, sorted; source: main.units
select unit_id
from main.units
order by unit_id;
