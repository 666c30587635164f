-- rejected_open: what is still rejected, in the form the checks hand it on in
-- grain: one row per open entry of rejects; source: rejects; consumer: the folder of rejected files
select
    import_id,
    source_file,
    source_line,
    scope,
    field,
    header,
    "value",
    rule,
    message,
    advice
from rejects
where resolved_at is null
order by import_id asc, source_file asc, source_line asc, rule asc, field asc nulls last;
