-- data_quality_not_testable: visits with readings whose charge could not be judged, by each thing that was in the way
-- a column named reason is free text, left out where names are: this one is the program's own words
-- grain: one row per reason; a visit with several reasons counts under each; source: charge_readings
with reasons as (
    select
        unit_id,
        visit_id,
        unnest(string_split(coalesce(not_testable_because, 'reason not said'), '; ')) as because
    from charge_readings
    where charge_verdict = 'not_testable'
)

select
    because,
    count(*) as readings,
    count(distinct unit_id) as units
from reasons
group by because
order by readings desc, because asc
limit 40;
