-- register_faults: dates, serials and claims that contradict each other, and parts of no known visit or unit
-- grain: one row per contradiction, with its place
-- source: core.register_faults (enrich.register_faults), waiting_rows; consumers: parts and makes page
create or replace view register_faults as
select
    unit_id,
    visit_id,
    fault,
    message,
    source_file,
    source_line
from core.register_faults
union all
select
    unit_id,
    visit_id,
    'part_of_unknown_unit' as fault,
    case
        when waiting_for = 'visit' then 'a part of a visit that is not on file: it counts nowhere until the visit comes'
        else 'a part of a ticket with several units, or not with the one named: it counts nowhere until it names its unit'
    end as message,
    source_file,
    source_line
from waiting_rows
where table_name = 'parts';
