-- rate_rows_units: the units behind each rate shown
-- grain: one row per group shown and unit, 200 longest under care of a group; source: rate_rows, int_rates_shown, units
with placed as (
    select
        members.group_by,
        members.group_value,
        members.unit_id,
        members.unit_years,
        members.failures,
        row_number() over (
            partition by members.group_by, members.group_value
            order by members.failures desc, members.unit_years desc, members.unit_id asc
        ) as place
    from rate_rows as members
    inner join int_rates_shown as shown
        on members.group_by = shown.group_by and members.group_value = shown.group_value
)

select
    placed.group_by,
    placed.group_value,
    placed.unit_id,
    placed.unit_years,
    placed.failures,
    units.source_file,
    units.source_line
from placed
left join units
    on placed.unit_id = units.unit_id
where placed.place <= 200
order by
    placed.group_by,
    placed.group_value,
    placed.place;
