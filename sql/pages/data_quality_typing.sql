-- data_quality_typing: what three more typed columns would have told on the visits of the last 24 months
-- grain: one row; source: visits, capacitor_readings, charge_readings, not_testable_reasons, unit_risk
with as_of as (
    select max(as_of) as as_of
    from unit_risk
),

recent as (
    select
        visits.unit_id,
        visits.visit_id
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

-- what a column would have told where the charge could not be judged: alone in the way, or one thing among others
lacking as (
    select
        unnest(string_split(charge_readings.not_testable_codes, '; ')) as code,
        charge_readings.not_testable_codes not like '%;%' as alone
    from charge_readings
    semi join recent
        on charge_readings.unit_id = recent.unit_id and charge_readings.visit_id = recent.visit_id
    where charge_readings.charge_verdict = 'not_testable'
),

counted as (
    select
        not_testable_reasons.words,
        not_testable_reasons.column_words,
        lacking.alone,
        count(*) as visits
    from lacking
    inner join not_testable_reasons
        on lacking.code = not_testable_reasons.code
    where not_testable_reasons.column_words is not null
    group by not_testable_reasons.words, not_testable_reasons.column_words, lacking.alone
),

worst as (
    select
        arg_max(column_words, (alone, visits, words)) as column_words,
        arg_max(visits, (alone, visits, words)) as visits,
        arg_max(alone, (alone, visits, words)) as alone
    from counted
)

select
    count(*) as visits,
    count(*) filter (where coalesce(capacitors.herm, 0) = 0) as herm_blank,
    count(*) filter (where coalesce(capacitors.fan, 0) = 0) as fan_blank,
    count(*) filter (where capacitors.herm_told > 0) as herm_told,
    count(*) filter (where capacitors.fan_told > 0) as fan_told,
    max(worst.column_words) as charge_lacks,
    coalesce(bool_or(worst.alone), false) as charge_lacks_alone,
    coalesce(max(worst.visits), 0) as charge_lacks_visits
from recent
cross join worst
left join capacitors
    on recent.unit_id = capacitors.unit_id and recent.visit_id = capacitors.visit_id;
