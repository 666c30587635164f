-- data_quality_suspects: readings that were kept but are discounted, by why
-- grain: one row per field and reason; source: capacitor_readings, int_suspects_counted
with capacitor_suspects as (
    select
        section || '_uf' as field,
        suspect as reason,
        count(*) as readings,
        count(distinct unit_id) as units
    from capacitor_readings
    where suspect is not null
    group by section, suspect
),

other_suspects as (
    -- a reading of a section that enrich has marked already is not counted twice
    select
        int_suspects_counted.field,
        int_suspects_counted.reason,
        int_suspects_counted.readings,
        int_suspects_counted.units
    from int_suspects_counted
    left join capacitor_suspects
        on int_suspects_counted.field = capacitor_suspects.field
            and int_suspects_counted.reason = capacitor_suspects.reason
    where capacitor_suspects.field is null
),

listed as (
    select
        field,
        reason,
        readings,
        units
    from capacitor_suspects
    union all
    select
        field,
        reason,
        readings,
        units
    from other_suspects
)

select
    field,
    reason,
    readings,
    units
from listed
order by readings desc, field asc, reason asc
limit 60;
