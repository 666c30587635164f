-- data_quality_technicians: how complete each technician's visits of the last 24 months are
-- grain: one row per technician (null = not written down); source: visits, capacitor_readings, charge_readings, unit_risk
with as_of as (
    select max(as_of) as as_of
    from unit_risk
),

recent as (
    select
        visits.unit_id,
        visits.visit_id,
        visits.technician,
        visits.visit_type
    from visits
    cross join as_of
    where visits.visit_date <= as_of.as_of
        and visits.visit_date > as_of.as_of - interval 24 month
),

with_capacitor as (
    select distinct
        unit_id,
        visit_id
    from capacitor_readings
),

with_charge as (
    select
        unit_id,
        visit_id,
        max(case when charge_verdict <> 'not_testable' then 1 else 0 end) as testable
    from charge_readings
    group by unit_id, visit_id
),

suspects as (
    select
        technician,
        count(*) as readings,
        count(suspect) as suspect_readings
    from capacitor_readings
    group by technician
)

select
    recent.technician,
    count(*) as visits,
    count(with_capacitor.visit_id) as visits_with_capacitor,
    count(with_charge.visit_id) as visits_with_charge,
    coalesce(sum(with_charge.testable), 0)::bigint as visits_with_charge_testable,
    count(recent.visit_type) as visits_with_type,
    max(suspects.readings) as readings,
    max(suspects.suspect_readings) as suspect_readings
from recent
left join with_capacitor
    on recent.unit_id = with_capacitor.unit_id and recent.visit_id = with_capacitor.visit_id
left join with_charge
    on recent.unit_id = with_charge.unit_id and recent.visit_id = with_charge.visit_id
left join suspects
    on recent.technician is not distinct from suspects.technician
group by recent.technician
order by visits desc, recent.technician asc nulls last
limit 100;
