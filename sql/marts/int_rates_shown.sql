-- int_rates_shown: the groups that have a line on the page: those that stand out, then the largest, twelve of a grouping
-- grain: one row per grouping and group shown; key group_by, group_value
-- source: failure_rates; consumers: parts and makes page, rows behind the rates
create or replace view int_rates_shown as
with placed as (
    select
        group_by,
        group_value,
        row_number() over (
            partition by group_by
            order by
                higher desc,
                case when group_by in ('component', 'part_make') then failures end desc nulls last,
                unit_years desc,
                group_value asc
        ) as place,
        count(*) over (partition by group_by) as groups
    from failure_rates
)

select
    group_by,
    group_value,
    place,
    groups
from placed
where place <= 12;
