-- stored_parts: parts stored from the given files, so that a row that comes back corrected keeps or finds its number
-- grain: part row; key visit_id, unit_id, part, row_n; source: imported.parts
select
    visit_id,
    unit_id,
    part,
    row_n,
    source_file,
    source_line
from imported.parts
where list_contains($files, source_file);
