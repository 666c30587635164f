-- resolve_records: rejected rows whose record came back in a corrected file as a part of another record's row
-- grain: entry of rejects; source: staging.visits, the frame registered as shared_rows
update main.rejects
set resolved_at = $now
from shared_rows as shared
inner join staging.visits as staged
    on shared.row_line = staged.source_line
where
    staged.import_id = $import_id
    and $file <> $source_file
    and main.rejects.source_file = $source_file
    and main.rejects.source_line = shared.source_line
    and main.rejects.resolved_at is null
    and main.rejects.scope = 'row';
