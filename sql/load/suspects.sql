-- suspects: readings held not believable, and why
-- grain: visit, unit, field and reason; source: the frame registered as suspects
insert into core.suspects by name
select distinct
    unit_id,
    visit_id,
    field,
    reason,
    message
from suspects;
