-- data_quality_typing: what three more typed columns would have told on the visits of the last 24 months
-- grain: one row; source: visits, capacitor_readings, charge_readings, note_readings, unit_risk
with as_of as (
    select max(as_of) as as_of
    from unit_risk
),

recent as (
    select
        visits.unit_id,
        visits.visit_id,
        visits.notes
    from visits
    cross join as_of
    where visits.visit_date <= as_of.as_of
        and visits.visit_date > as_of.as_of - interval 24 month
),

capacitors as (
    select
        unit_id,
        visit_id,
        count(*) filter (where section = 'herm') as herm,
        count(*) filter (where section = 'fan') as fan,
        count(*) filter (where section = 'herm' and method = 'from_notes') as herm_told,
        count(*) filter (where section = 'fan' and method = 'from_notes') as fan_told
    from capacitor_readings
    where not is_new_part
    group by unit_id, visit_id
),

-- visits whose charge lacks one thing alone, and that thing is a column
lacking as (
    select
        charge_readings.not_testable_because as reason,
        count(*) as visits
    from charge_readings
    semi join recent
        on charge_readings.unit_id = recent.unit_id and charge_readings.visit_id = recent.visit_id
    where charge_readings.charge_verdict = 'not_testable'
        and charge_readings.not_testable_because in (
            'no outdoor temperature', 'no wet bulb or humidity', 'no superheat reading', 'no subcooling reading'
        )
    group by charge_readings.not_testable_because
),

worst as (
    select
        arg_max(reason, (visits, reason)) as reason,
        max(visits) as visits
    from lacking
)

select
    count(*) as visits,
    count(recent.notes) as visits_with_notes,
    count(*) filter (where coalesce(capacitors.herm, 0) = 0) as herm_blank,
    count(*) filter (where coalesce(capacitors.fan, 0) = 0) as fan_blank,
    count(*) filter (where capacitors.herm_told > 0) as herm_told,
    count(*) filter (where capacitors.fan_told > 0) as fan_told,
    max(worst.reason) as charge_lacks,
    coalesce(max(worst.visits), 0) as charge_lacks_visits
from recent
cross join worst
left join capacitors
    on recent.unit_id = capacitors.unit_id and recent.visit_id = capacitors.visit_id;
