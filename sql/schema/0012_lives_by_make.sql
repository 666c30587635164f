-- lives_by_make: survival curves by make too, with the failures up to each age
-- grain: survival_curves one row per component, make (null = all) and age; source: pipeline.forecast.lifetimes
alter table core.survival_curves add column if not exists make varchar;
alter table core.survival_curves add column if not exists failures bigint;
