-- data_quality_corrections: fields that a later import changed
-- grain: one row per table and field; source: corrections
select
    table_name,
    field,
    count(*) as changes,
    count(distinct import_id) as imports
from corrections
group by table_name, field
order by changes desc, table_name asc, field asc
limit 50;
