-- data_quality_waiting: rows that wait for their visit, or for the unit of a ticket that covers several
-- grain: table and what is waited for; source: waiting_rows
select
    table_name,
    waiting_for,
    count(*) as waiting,
    count(distinct visit_id) as tickets,
    arg_min(source_file, (source_file, source_line)) as example_file,
    arg_min(source_line, (source_file, source_line)) as example_line
from waiting_rows
group by table_name, waiting_for
order by waiting_for desc, table_name asc;
