-- figure_rows: the rows behind lifetimes, calls by season, trouble after visits, sections out, drift and repairs
-- grain: one row per figure of the parts and makes page and row behind it, newest 200 of a figure (no day: by unit)
-- source: core.lives_ended, failures_counted, core.came_back, core.sections_out, core.drift_slopes, visits
with season_days as (
    select
        season_start,
        season_end
    from season_trend
),

placed as (
    select
        'lives ' || component || ' ' as figure,
        unit_id,
        null as visit_id,
        ended_on as on_day,
        format('{} at {:.1f} years', ended_by, age_years) as told
    from core.lives_ended
    union all
    select
        'lives ' || component || ' ' || trim(make) as figure,
        unit_id,
        null as visit_id,
        ended_on as on_day,
        format('{} at {:.1f} years', ended_by, age_years) as told
    from core.lives_ended
    where make is not null
    union all
    select
        'season ' || season_days.season_start as figure,
        failed.unit_id,
        failed.visit_id,
        failed.visit_date as on_day,
        'no-cooling call, ' || replace(coalesce(failed.cause, 'cause not said'), '_', ' ') as told
    from failures_counted as failed
    inner join season_days
        on failed.visit_date between season_days.season_start and season_days.season_end
    union all
    select
        'back technician ' || technician as figure,
        unit_id,
        visit_id,
        visit_date as on_day,
        format('in trouble again {} days later, on {}', "days", back_on) as told
    from core.came_back
    where technician is not null
    union all
    select
        'back component ' || cause as figure,
        unit_id,
        visit_id,
        visit_date as on_day,
        format('in trouble again {} days later, on {}', "days", back_on) as told
    from core.came_back
    where cause is not null and visit_type in ('no_cooling', 'repair', 'callback')
    union all
    select
        'out ' || section as figure,
        unit_id,
        null as visit_id,
        out_on as on_day,
        format('{:.1f} years in service', age_years) as told
    from core.sections_out
    union all
    select
        'drift ' || part_make as figure,
        unit_id,
        null as visit_id,
        null as on_day,
        format(
            '{} section, {:.1f} uF: {:.1f} % a year from {} readings over {:.1f} years',
            replace(section, 'herm', 'hermetic'), rated_uf, slope, n, years
        ) as told
    from core.drift_slopes
    union all
    select
        'repairs' as figure,
        unit_id,
        visit_id,
        visit_date as on_day,
        replace(visit_type, '_', ' ') || coalesce(', ' || replace(cause, '_', ' '), '')
            || coalesce(format(', invoiced {:.2f}', invoice_total), '') as told
    from visits
    where visit_type in ('no_cooling', 'repair', 'callback')
),

numbered as (
    select
        figure,
        unit_id,
        visit_id,
        on_day,
        told,
        count(*) over (partition by figure) as in_all,
        row_number() over (
            partition by figure
            order by on_day desc nulls last, unit_id asc, visit_id asc, told asc
        ) as place
    from placed
)

select
    numbered.figure,
    numbered.unit_id,
    numbered.visit_id,
    numbered.on_day,
    numbered.told,
    numbered.in_all,
    coalesce(visits.source_file, units.source_file) as source_file,
    coalesce(visits.source_line, units.source_line) as source_line
from numbered
left join visits
    on numbered.unit_id = visits.unit_id and numbered.visit_id = visits.visit_id
left join units
    on numbered.unit_id = units.unit_id
where numbered.place <= 200
order by
    numbered.figure,
    numbered.place;
