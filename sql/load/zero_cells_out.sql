-- zero_cells_out: what earlier files left open in the fields and visits that a file tells anew
-- grain: visit, unit and field; source: staging.visits
delete from core.zero_cells
where
    list_contains($fields, field)
    and (visit_id, unit_id) in (select (visit_id, unit_id) from staging.visits where import_id = $import_id);
