-- part_failures: the calls put down to fitted parts of a known make: the rows behind the rates by make of the part
-- grain: one row per call, make and part; source: pipeline.forecast.service
create table core.part_failures (
    unit_id varchar not null,
    visit_id varchar not null,
    part_make varchar not null,
    part varchar
);
