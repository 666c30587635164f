-- street_words: words of an address that one hand writes out and another shortens
-- grain: word; source: the lists that ids are derived with; consumer: unit_moves
create or replace temp table street_words as
select
    unnest($written_out) as written_out,
    unnest($shortened) as shortened;
