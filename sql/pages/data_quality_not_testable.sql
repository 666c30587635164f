-- data_quality_not_testable: visits with readings whose charge could not be judged, by what was missing
-- grain: one row per reason; source: charge_readings
select
    coalesce(not_testable_because, 'not said') as reason,
    count(*) as readings,
    count(distinct unit_id) as units
from charge_readings
where charge_verdict = 'not_testable'
group by coalesce(not_testable_because, 'not said')
order by readings desc, reason asc
limit 50;
