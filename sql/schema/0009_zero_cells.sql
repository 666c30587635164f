-- zero_cells: zeros of filled capacitor columns that were taken for blanks, so that a part imported later can make them readings
-- grain: visit, unit and field; source: pipeline.ingest.zero_filled
create table core.zero_cells (
    -- one row per visit, unit and field
    visit_id varchar not null,
    unit_id varchar not null,
    field varchar not null
);
