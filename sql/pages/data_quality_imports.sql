-- data_quality_imports: what became of every record of every imported file, newest import first
-- grain: one row per imported file; source: imports
select
    import_id,
    file,
    encoding,
    delimiter,
    rows_read,
    rows_stored,
    rows_unchanged,
    rows_rejected,
    rows_skipped,
    values_rejected
from imports
order by imported_at desc, import_id desc
limit 200;
