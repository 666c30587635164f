-- rate_rows_failures: the failures behind each rate shown
-- grain: one row per group shown and failure, newest 200 of a group; source: rate_rows, failures_counted,
-- core.part_failures, visits
with groups as (
    select
        shown.group_by,
        shown.group_value,
        members.unit_id
    from int_rates_shown as shown
    inner join rate_rows as members
        on shown.group_by = members.group_by and shown.group_value = members.group_value
    where members.failures > 0 and members.group_by <> 'part_make'
),

of_groups as (
    select
        groups.group_by,
        groups.group_value,
        failed.unit_id,
        failed.visit_id,
        failed.visit_date,
        failed.cause
    from groups
    inner join failures_counted as failed
        on groups.unit_id = failed.unit_id
    union all
    select
        shown.group_by,
        shown.group_value,
        failed.unit_id,
        failed.visit_id,
        failed.visit_date,
        failed.cause
    from int_rates_shown as shown
    inner join failures_counted as failed
        on shown.group_by = 'component' and shown.group_value = coalesce(failed.cause, 'not known')
    union all
    select
        shown.group_by,
        shown.group_value,
        failed.unit_id,
        failed.visit_id,
        failed.visit_date,
        failed.cause
    from int_rates_shown as shown
    inner join core.part_failures as put_down
        on shown.group_by = 'part_make' and shown.group_value = put_down.part_make
    inner join failures_counted as failed
        on put_down.unit_id = failed.unit_id and put_down.visit_id = failed.visit_id
),

placed as (
    select
        *,
        row_number() over (
            partition by group_by, group_value
            order by visit_date desc, unit_id asc, visit_id asc
        ) as place
    from of_groups
)

select
    placed.group_by,
    placed.group_value,
    placed.unit_id,
    placed.visit_id,
    placed.visit_date,
    placed.cause,
    visits.source_file,
    visits.source_line
from placed
left join visits
    on placed.unit_id = visits.unit_id and placed.visit_id = visits.visit_id
where placed.place <= 200
order by
    placed.group_by,
    placed.group_value,
    placed.place;
