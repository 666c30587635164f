-- unit_moves: units and visits whose derived id gave way to the unit that another file names, and ids that could not
-- grain: unit, or visit and unit, as a file told it; source: sql/load/unit_moves.sql
create table core.unit_moves (
    -- one row per id that was derived from a serial or an address and belongs to a unit named otherwise
    told_unit_id varchar not null,
    unit_id varchar not null
);

create table core.visit_moves (
    -- one row per visit told under such an id; folded where another row tells the same visit, of which one fills its blanks
    told_visit_id varchar not null,
    told_unit_id varchar not null,
    visit_id varchar not null,
    unit_id varchar not null,
    folded boolean not null,
    fills boolean not null
);

create table core.units_unsettled (
    -- one row per id derived from an address at which units are named, none of which is it beyond doubt
    unit_id varchar not null,
    named bigint not null,
    because varchar not null
);
