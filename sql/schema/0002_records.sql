-- records: what an import leaves in writing: files, rejected rows and values, changed fields, runs and their checks
-- grain: said at each table; key: said at each table; source: pipeline.store
create table imports (
    -- one row per imported file; key import_id
    import_id bigint not null,
    file varchar not null,
    table_name varchar not null,
    sha256 varchar not null,
    mapping_digest varchar not null,
    encoding varchar,
    encoding_confidence double,
    delimiter varchar,
    rows_read bigint not null,
    rows_stored bigint not null,
    rows_unchanged bigint not null,
    rows_rejected bigint not null,
    rows_skipped bigint not null,
    values_rejected bigint not null,
    imported_at timestamp not null,
    check (rows_read = rows_stored + rows_unchanged + rows_rejected + rows_skipped)
);

create table rejects (
    -- one row per rejected row or value, and reason
    import_id bigint not null,
    source_file varchar not null,
    source_line bigint not null,
    scope varchar not null check (scope in ('row', 'value')),
    field varchar,
    header varchar,
    "value" varchar,
    rule varchar not null,
    message varchar not null,
    advice varchar,
    record_digest varchar,
    table_name varchar,
    "key" varchar,
    resolved_at timestamp
);

create table corrections (
    -- one row per field that a later import changed
    table_name varchar not null,
    "key" varchar not null,
    field varchar not null,
    old_value varchar,
    new_value varchar,
    import_id bigint not null
);

create table core.runs (
    -- one row per run that stored something; key run_id
    run_id bigint not null,
    started_at timestamp not null,
    finished_at timestamp,
    as_of date,
    program_version varchar,
    rows_read bigint,
    rows_stored bigint,
    rows_unchanged bigint,
    rows_rejected bigint,
    rows_skipped bigint,
    values_rejected bigint,
    timings varchar
);

create table core.expectation_results (
    -- one row per table and expectation of a run's gate, with the last (import_id) and first import it looked at
    import_id bigint not null,
    first_import_id bigint not null,
    table_name varchar not null,
    expectation varchar not null,
    "column" varchar,
    success boolean not null,
    unexpected_count bigint,
    element_count bigint
);

create table core.suspects (
    -- one row per stored reading that is possible but not believable; rebuilt for touched units
    unit_id varchar not null,
    visit_id varchar not null,
    field varchar not null,
    reason varchar not null,
    message varchar
);

create table core.settings (
    -- the settings that views need, as text; key "key"
    "key" varchar not null,
    "value" varchar
);

create table core.marts (
    -- the views this program made, and a digest of all their texts; key view_name
    view_name varchar not null,
    digest varchar not null
);

create table core.rejected_records (
    -- one row per refused record of an import, as it was read, so that its list can be written again
    import_id bigint not null,
    source_file varchar not null,
    source_line bigint not null,
    header varchar[] not null,
    cells varchar[],
    "raw" varchar
);

create table core.rejected_files (
    -- one row per list of refused records that this program wrote and that is still as it wrote it
    source_file varchar not null,
    "name" varchar not null,
    digest varchar not null
);
