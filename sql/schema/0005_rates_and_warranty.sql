-- rates_and_warranty: how often what fails, how long things last, and what a maker owes
-- grain and key: said at each table; source: pipeline.forecast, pipeline.warranty (a frame with a further column adds it)
create table core.failure_rates (
    -- one row per grouping and group; key group_by, group_value
    group_by varchar not null,
    group_value varchar not null,
    units bigint,
    unit_years double,
    failures bigint,
    rate_per_100_unit_years double,
    rate_low double,
    rate_high double,
    shrunk_rate double,
    shrunk_low double,
    shrunk_high double,
    expected_failures double,
    expected_at_age double,
    p_higher double,
    higher boolean,
    verdict varchar,
    sentence varchar
);

create table core.rate_rows (
    -- one row per grouping, group and unit in it; key group_by, group_value, unit_id
    group_by varchar not null,
    group_value varchar not null,
    unit_id varchar not null,
    years double,
    failures bigint
);

create table core.failures_counted (
    -- one row per failure that counts in the rates; key unit_id, visit_id
    unit_id varchar not null,
    visit_id varchar not null,
    visit_date date,
    cause varchar
);

create table core.warranty_claims (
    -- one row per part fitted and per weak part to test; key claim_id
    claim_id varchar not null,
    unit_id varchar not null,
    part varchar,
    section varchar,
    visit_id varchar,
    visit_date date,
    row_n bigint,
    covered boolean,
    covered_until date,
    cover_basis varchar,
    state varchar,
    no_claim_because varchar,
    amount double,
    deadline date,
    claim_to varchar,
    customer_paid double,
    cost double,
    claim_amount double,
    claimed_on date,
    part_make varchar,
    serial_out varchar,
    serial_in varchar,
    reading_pct double,
    tolerance_pct double,
    evidence varchar,
    missing varchar,
    note varchar,
    source_file varchar,
    source_line bigint
);

create table core.warranty_terms (
    -- one row per unit; key unit_id
    unit_id varchar not null,
    starts_on date,
    start_basis varchar,
    parts_until date,
    compressor_until date,
    labor_until date,
    is_registered boolean,
    register_by date,
    registered_late_days bigint,
    owner_changed_on date,
    filing_days bigint,
    term_note varchar
);

create table core.installs_to_register (
    -- one row per own install not registered yet; key unit_id
    unit_id varchar not null,
    installed_on date,
    register_by date
);

create table core.not_billed (
    -- one row per part or addition of refrigerant without a price and without a claim
    unit_id varchar not null,
    visit_id varchar not null,
    visit_date date,
    item varchar,
    quantity double,
    shown_by varchar,
    snippet varchar,
    cost double,
    invoice_total double,
    source_file varchar,
    source_line bigint
);

create table core.register_faults (
    -- one row per contradiction in the register, with its place
    unit_id varchar not null,
    visit_id varchar,
    fault varchar not null,
    message varchar,
    source_file varchar,
    source_line bigint
);

create table core.lifetimes (
    -- one row per component (unit = whole units) and make, make null = all; key component, make
    component varchar not null,
    make varchar,
    lives bigint,
    failures bigint,
    replaced_in_time bigint,
    removed_by_choice bigint,
    reason_not_known bigint,
    years double,
    method varchar,
    shape double,
    scale_years double,
    median_years double,
    median_low double,
    median_high double,
    b10_years double,
    b10_low double,
    b10_high double,
    oldest_seen double,
    curve_from double,
    curve_median double,
    caveat varchar
);

create table core.survival_curves (
    -- one row per component and age; key component, age_years
    component varchar not null,
    age_years double,
    at_risk bigint,
    survival double,
    survival_low double,
    survival_high double
);

create table core.capacitor_hazards (
    -- one row per section and band of years in service; key section, age_from
    section varchar not null,
    age_from double,
    age_to double,
    section_years double,
    went_out bigint,
    per_100_section_years double,
    low double,
    high double
);

create table core.repairs_gathered (
    -- one row per measure and age; key what, age_years
    what varchar not null,
    age_years double,
    at_risk bigint,
    per_unit double,
    per_unit_low double,
    per_unit_high double
);

create table core.callbacks (
    -- one row per technician or component, and number of days; key group_by, group_value, within_days
    group_by varchar not null,
    group_value varchar not null,
    within_days bigint not null,
    jobs bigint,
    back bigint,
    per_100_jobs double,
    low double,
    high double,
    expected double,
    ratio double,
    ratio_low double,
    ratio_high double,
    caution varchar
);

create table core.part_quality (
    -- one row per make of capacitor, and per make, section and rating
    group_by varchar not null,
    part_make varchar,
    section varchar,
    rated_uf double,
    series bigint,
    readings bigint,
    years double,
    drift_pct_per_year double,
    drift_low double,
    drift_high double,
    fleet_pct_per_year double,
    faster boolean,
    sentence varchar
);

create table core.season_trend (
    -- one row per finished season; key season_start
    season_start date not null,
    season_end date,
    units bigint,
    unit_years double,
    failures bigint,
    rate_per_100_unit_years double,
    rate_low double,
    rate_high double,
    ratio_to_before double,
    ratio_low double,
    ratio_high double,
    cooling_degree_days double
);

create table core.yearly_change (
    -- one row at most
    factor double,
    factor_low double,
    factor_high double,
    at_same_heat boolean
);

create table core.lives_ended (
    -- one row per life of a unit or component that ended: the rows behind the lifetimes
    unit_id varchar not null,
    make varchar,
    component varchar not null,
    age_years double,
    ended_by varchar,
    ended_on date
);

create table core.came_back (
    -- one row per visit after which the unit was in trouble again within 90 days
    unit_id varchar not null,
    visit_id varchar not null,
    visit_date date,
    technician varchar,
    visit_type varchar,
    cause varchar,
    back_on date,
    days bigint
);

create table core.sections_out (
    -- one row per capacitor section of known start that went out of tolerance or failed
    unit_id varchar not null,
    section varchar not null,
    series bigint,
    out_on date,
    age_years double
);

create table core.drift_slopes (
    -- one row per capacitor series read often enough
    unit_id varchar not null,
    section varchar not null,
    series bigint,
    part_make varchar,
    rated_uf double,
    n bigint,
    years double,
    slope double
);
