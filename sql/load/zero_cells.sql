-- zero_cells: for every filler of a capacitor column, whether something says that it is an open section
-- supported by a capacitor fitted for the section on the visit, a reading of its new part, the cause run_capacitor or a
-- swollen capacitor; not where herm and fan are both fillers (nothing was read), where another section of the visit reads
-- beyond its tolerance and so is the one at fault, nor where the section reads again later with no capacitor fitted
-- grain: visit, unit and field as told, and the unit it belongs to
-- source: core.zero_cells, core.visit_moves, imported.visits, int_visits, int_parts_placed, main.units
with cells as (
    select
        zero.visit_id as told_visit_id,
        zero.unit_id as told_unit_id,
        coalesce(moves.visit_id, zero.visit_id) as visit_id,
        coalesce(moves.unit_id, zero.unit_id) as unit_id,
        zero.field,
        visits.visit_date,
        visits.herm_uf,
        visits.fan_uf,
        visits.blower_uf,
        case zero.field
            when 'herm_uf' then visits.herm_uf
            when 'fan_uf' then visits.fan_uf
            else visits.blower_uf
        end as stored,
        case zero.field
            when 'herm_uf' then visits.herm_uf_after
            when 'fan_uf' then visits.fan_uf_after
            else visits.blower_uf_after
        end > 0 as new_part_read,
        coalesce(visits.cause = 'run_capacitor', false)
        or coalesce(contains(visits.observations, 'swollen_capacitor'), false) as row_says
    from core.zero_cells as zero
    inner join imported.visits as visits
        on zero.visit_id = visits.visit_id and zero.unit_id = visits.unit_id
    left join core.visit_moves as moves
        on zero.visit_id = moves.told_visit_id and zero.unit_id = moves.told_unit_id
),

fitted as (
    select
        visit_id,
        unit_id,
        visit_date,
        cap_herm_uf,
        cap_fan_uf,
        cap_blower_uf
    from int_parts_placed
    where part = 'run_capacitor' and waiting_for is null
),

on_visit as (
    select
        visit_id,
        unit_id,
        bool_or(coalesce(cap_herm_uf > 0, false)) as herm,
        bool_or(coalesce(cap_fan_uf > 0, false)) as fan,
        bool_or(coalesce(cap_blower_uf > 0, false)) as blower,
        bool_or(cap_herm_uf is null and cap_fan_uf is null and cap_blower_uf is null) as unnamed
    from fitted
    group by visit_id, unit_id
),

before as (
    select
        cells.visit_id,
        cells.unit_id,
        cells.field,
        arg_max(fitted.cap_herm_uf, fitted.visit_date) as herm,
        arg_max(fitted.cap_fan_uf, fitted.visit_date) as fan,
        arg_max(fitted.cap_blower_uf, fitted.visit_date) as blower
    from cells
    inner join fitted
        on cells.unit_id = fitted.unit_id and fitted.visit_date < cells.visit_date
    group by cells.visit_id, cells.unit_id, cells.field
),

read_again as (
    select
        cells.visit_id,
        cells.unit_id,
        cells.field,
        min(later.visit_date) as next_on
    from cells
    inner join int_visits as later
        on
            cells.unit_id = later.unit_id
            and later.visit_date > cells.visit_date
            and case cells.field
                when 'herm_uf' then later.herm_uf
                when 'fan_uf' then later.fan_uf
                else later.blower_uf
            end > 0
    group by cells.visit_id, cells.unit_id, cells.field
),

alive as (
    select
        cells.visit_id,
        cells.unit_id,
        cells.field
    from cells
    inner join read_again
        on cells.visit_id = read_again.visit_id and cells.unit_id = read_again.unit_id and cells.field = read_again.field
    left join fitted
        on
            cells.unit_id = fitted.unit_id
            and fitted.visit_date between cells.visit_date and read_again.next_on
    where fitted.unit_id is null
),

fillers as (
    select
        visit_id,
        unit_id,
        bool_or(field = 'herm_uf') as herm,
        bool_or(field = 'fan_uf') as fan
    from cells
    group by visit_id, unit_id
),

judged as (
    select
        cells.*,
        coalesce(on_visit.herm or on_visit.fan or on_visit.blower, false) as part_names,
        coalesce(
            case cells.field when 'herm_uf' then on_visit.herm when 'fan_uf' then on_visit.fan else on_visit.blower end,
            false
        )
        or (coalesce(on_visit.unnamed, false) and cells.field <> 'blower_uf') as part_says,
        fillers.herm and fillers.fan
        and coalesce(units.cap_herm_uf, 1) > 0 and coalesce(units.cap_fan_uf, 1) > 0 as nothing_read,
        coalesce(cells.herm_uf > 0 and cells.fan_uf > 0, false) as others_read,
        alive.unit_id is not null and not coalesce(cells.new_part_read, false) as reads_again,
        coalesce(
            cells.field <> 'herm_uf' and cells.herm_uf > 0
            and abs(100 * (cells.herm_uf / nullif(coalesce(before.herm, units.cap_herm_uf), 0) - 1))
            > coalesce(units.cap_tolerance_pct, 6),
            false
        )
        or coalesce(
            cells.field <> 'fan_uf' and cells.fan_uf > 0
            and abs(100 * (cells.fan_uf / nullif(coalesce(before.fan, units.cap_fan_uf), 0) - 1))
            > coalesce(units.cap_tolerance_pct, 6),
            false
        )
        or coalesce(
            cells.field <> 'blower_uf' and cells.blower_uf > 0
            and abs(100 * (cells.blower_uf / nullif(coalesce(before.blower, units.cap_blower_uf), 0) - 1))
            > coalesce(units.cap_tolerance_pct, 6),
            false
        ) as explained
    from cells
    left join on_visit
        on cells.visit_id = on_visit.visit_id and cells.unit_id = on_visit.unit_id
    left join before
        on cells.visit_id = before.visit_id and cells.unit_id = before.unit_id and cells.field = before.field
    left join alive
        on cells.visit_id = alive.visit_id and cells.unit_id = alive.unit_id and cells.field = alive.field
    left join fillers
        on cells.visit_id = fillers.visit_id and cells.unit_id = fillers.unit_id
    left join main.units as units
        on cells.unit_id = units.unit_id
),

decided as (
    select
        *,
        not nothing_read
        and not explained
        and not reads_again
        and (
            coalesce(new_part_read, false)
            or part_says
            or (row_says and not part_names and (field <> 'blower_uf' or others_read))
        ) as is_open
    from judged
)

select
    told_visit_id as visit_id,
    told_unit_id as unit_id,
    unit_id as at_unit_id,
    field,
    is_open
from decided
where (is_open and stored is null) or (not is_open and stored = 0);
