-- not_testable: why a charge could not be judged, as codes with "; " between; their words lie in core.not_testable_reasons
-- grain: charge_readings one row per visit and unit, not_testable_reasons one per code; source: enrich.not_testable
-- what an older program stored as words is worked out again by the next run, as all that another program stored
alter table core.charge_readings drop column not_testable_because;
alter table core.charge_readings add column not_testable_codes varchar;
create table core.not_testable_reasons (
    place bigint,
    code varchar,
    words varchar,
    column_words varchar
);
