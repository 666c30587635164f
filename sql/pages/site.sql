-- site: what every page says at its top: dates, row counts, totals of the watch list
-- grain: always exactly one row; source: unit_risk, visits, imports, rejects, capacitor_readings, charge_readings
with risk as (
    select
        max(as_of) as as_of,
        max(season_start) as season_start,
        max(season_end) as season_end,
        count(*) as units_active,
        count(*) filter (where flagged) as units_flagged,
        count(*) filter (where last_visit_on is null or last_visit_on < as_of - interval 18 month) as units_unseen,
        coalesce(round(sum(p_failure), 9), 0) as expected_failures,
        coalesce(round(sum(p_failure) filter (where flagged), 9), 0) as expected_failures_flagged,
        round(sum(expected_cost), 9) as expected_cost
    from unit_risk
),

stored as (
    select
        count(*) as visits_stored,
        max(visit_date) as newest_stored_on
    from visits
),

counted as (
    select
        count(*) as visits_counted,
        max(visits.visit_date) as newest_visit_on
    from visits
    cross join risk
    where risk.as_of is null or visits.visit_date <= risk.as_of
),

files as (
    select
        count(*) as files_imported,
        coalesce(sum(rows_read), 0) as rows_read,
        coalesce(sum(rows_stored), 0) as rows_stored,
        coalesce(sum(rows_unchanged), 0) as rows_unchanged,
        coalesce(sum(rows_rejected), 0) as rows_rejected,
        coalesce(sum(rows_skipped), 0) as rows_skipped,
        coalesce(sum(values_rejected), 0) as values_rejected
    from imports
),

waiting as (
    select count(*) as rejects_open
    from rejects
    where resolved_at is null
),

capacitors as (
    select
        count(*) as capacitor_readings,
        count(distinct unit_id) filter (
            where unit_id in (select unit_risk.unit_id from unit_risk)
        ) as units_with_capacitor_reading
    from capacitor_readings
),

charges as (
    select
        count(*) as charge_readings,
        count(*) filter (where charge_verdict <> 'not_testable') as charge_readings_testable
    from charge_readings
)

select
    coalesce(risk.as_of, stored.newest_stored_on) as as_of,
    risk.season_start,
    risk.season_end,
    risk.units_active,
    risk.units_flagged,
    risk.units_unseen,
    risk.expected_failures,
    risk.expected_failures_flagged,
    risk.expected_cost,
    stored.visits_stored,
    counted.visits_counted,
    counted.newest_visit_on,
    files.files_imported,
    files.rows_read,
    files.rows_stored,
    files.rows_unchanged,
    files.rows_rejected,
    files.rows_skipped,
    files.values_rejected,
    waiting.rejects_open,
    capacitors.capacitor_readings,
    capacitors.units_with_capacitor_reading,
    charges.charge_readings,
    charges.charge_readings_testable
from risk
cross join stored
cross join counted
cross join files
cross join waiting
cross join capacitors
cross join charges;
