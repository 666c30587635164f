-- rejected_records_open: the records that are still rejected, as they were read
-- grain: one row per import and record; source: core.rejected_records, rejects; consumer: the folder of rejected files
with still_open as (
    select distinct
        import_id,
        source_file,
        source_line
    from rejects
    where resolved_at is null
)

select
    records.import_id,
    records.source_file,
    records.source_line,
    records.header,
    records.cells,
    records.raw
from core.rejected_records as records
inner join still_open
    on
        records.import_id = still_open.import_id
        and records.source_file = still_open.source_file
        and records.source_line = still_open.source_line
order by records.import_id asc, records.source_file asc, records.source_line asc;
