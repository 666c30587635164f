-- data_quality_not_testable: visits with readings whose charge could not be judged, by each thing that was in the way
-- a column named reason is free text, left out where names are: this one is the program's own words
-- grain: one row per reason; a visit with several reasons counts under each; source: charge_readings, not_testable_reasons
with reasons as (
    select
        unit_id,
        visit_id,
        unnest(string_split(not_testable_codes, '; ')) as code
    from charge_readings
    where charge_verdict = 'not_testable'
)

select
    not_testable_reasons.words as because,
    count(*) as readings,
    count(distinct reasons.unit_id) as units
from reasons
inner join not_testable_reasons
    on reasons.code = not_testable_reasons.code
group by not_testable_reasons.words
order by readings desc, because asc
limit 40;
