-- waiting_rows: parts, recommendations and readings whose visit, or whose unit on the ticket, is not known yet
-- grain: waiting row; source: int_parts_placed, int_recommendations_placed, int_readings_placed; consumers: data quality page
create or replace view waiting_rows as
with waiting as (
    select
        'parts' as table_name,
        visit_id,
        told_unit_id,
        waiting_for,
        source_file,
        source_line
    from int_parts_placed
    where waiting_for is not null
    union all
    select
        'recommendations' as table_name,
        visit_id,
        told_unit_id,
        waiting_for,
        source_file,
        source_line
    from int_recommendations_placed
    where waiting_for is not null
    union all
    select
        'readings' as table_name,
        visit_id,
        told_unit_id,
        waiting_for,
        source_file,
        source_line
    from int_readings_placed
    where waiting_for is not null
)

select
    table_name,
    visit_id,
    told_unit_id as unit_id,
    waiting_for,
    source_file,
    source_line
from waiting;
