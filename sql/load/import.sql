-- import: one imported file and where its records went
-- grain: file; key import_id; source: the run
insert into main.imports by name
select
    $import_id::bigint as import_id,
    $file::varchar as file,
    $table_name::varchar as table_name,
    $sha256::varchar as sha256,
    $mapping_digest::varchar as mapping_digest,
    $encoding::varchar as encoding,
    $encoding_confidence::double as encoding_confidence,
    $delimiter::varchar as delimiter,
    $rows_read::bigint as rows_read,
    $rows_stored::bigint as rows_stored,
    $rows_unchanged::bigint as rows_unchanged,
    $rows_rejected::bigint as rows_rejected,
    $rows_skipped::bigint as rows_skipped,
    $values_rejected::bigint as values_rejected,
    $imported_at::timestamp as imported_at;
