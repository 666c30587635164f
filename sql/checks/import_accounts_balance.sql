-- import_accounts_balance: imported files whose records are not all accounted for
-- grain: offending import; source: imports
select
    import_id,
    rows_read,
    rows_stored,
    rows_unchanged,
    rows_rejected,
    rows_skipped
from imports
where
    rows_read <> rows_stored + rows_unchanged + rows_rejected + rows_skipped
    or least(rows_stored, rows_unchanged, rows_rejected, rows_skipped) < 0;
