-- register_faults: dates, serials and claims that contradict each other
-- grain: one row per contradiction, with its place
-- source: core.register_faults (enrich.register_faults); consumers: parts and makes page
create or replace view register_faults as
select
    unit_id,
    visit_id,
    fault,
    message,
    source_file,
    source_line
from core.register_faults;
