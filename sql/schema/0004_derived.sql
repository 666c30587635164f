-- derived: what enrich and forecast computed; each table can be dropped and rebuilt from the imported rows
-- grain and key: said at each table; source: pipeline.enrich, pipeline.forecast (a frame with a further column adds it)
create table core.capacitor_series (
    -- one row per unit, section and series, read or not
    unit_id varchar not null,
    section varchar not null,
    series bigint not null,
    rated_uf double,
    rated_source varchar,
    tolerance_pct double,
    volts double,
    part_make varchar,
    started_on date,
    start_kind varchar,
    start_known_on date,
    ended_on date,
    end_kind varchar,
    ended_visit_id varchar
);

create table core.capacitor_readings (
    -- one row per visit, unit and section; a new part's reading is a row of its own
    unit_id varchar not null,
    visit_id varchar not null,
    visit_date date,
    section varchar not null,
    series bigint,
    rated_uf double,
    rated_source varchar,
    tolerance_pct double,
    measured_uf double,
    method varchar,
    drift_pct double,
    out_of_tolerance boolean,
    suspect varchar,
    technician varchar,
    started_on date,
    start_kind varchar,
    start_known_on date,
    at_replacement boolean,
    is_new_part boolean,
    scheduled boolean
);

create table core.charge_readings (
    -- one row per visit and unit with readings
    unit_id varchar not null,
    visit_id varchar not null,
    visit_date date,
    technician varchar,
    equipment varchar,
    refrigerant varchar,
    metering varchar,
    mode varchar,
    mode_source varchar,
    wet_bulb_source varchar,
    superheat_source varchar,
    subcooling_source varchar,
    target_source varchar,
    airflow varchar,
    airflow_because varchar,
    charge_verdict varchar,
    verdict_basis varchar,
    not_testable_because varchar,
    suspect varchar,
    likely_fault varchar,
    fault_because varchar,
    expected_from varchar,
    next_reading varchar,
    observations varchar,
    visit_type varchar,
    minutes_running double,
    altitude_ft double,
    outdoor_db_f double,
    return_db_f double,
    return_wb_f double,
    supply_db_f double,
    suction_psig double,
    liquid_psig double,
    suction_line_f double,
    liquid_line_f double,
    discharge_line_f double,
    condenser_leaving_f double,
    static_in_wc double,
    airflow_cfm double,
    suction_saturation_f double,
    liquid_saturation_f double,
    superheat_f double,
    superheat_sd_f double,
    target_superheat_f double,
    superheat_deviation_f double,
    subcooling_f double,
    subcooling_sd_f double,
    target_subcooling_f double,
    subcooling_deviation_f double,
    deviation_sd_f double,
    temperature_split_f double,
    target_split_f double,
    capacity_btuh double,
    sensible_share double,
    p_charge_low double,
    p_charge_high double,
    p_fault double,
    charge_level_low_pct double,
    charge_level_high_pct double,
    leak_loss_f double,
    computed_target_f double,
    highest_target_f double,
    plate_subcooling_f double,
    target_sd_f double,
    suction_saturation_sd_f double,
    liquid_saturation_sd_f double,
    nominal_tons double,
    p_low_airflow double,
    suction_saturation_off_f double,
    suction_saturation_off_sd_f double,
    superheat_off_f double,
    superheat_off_sd_f double,
    liquid_saturation_off_f double,
    liquid_saturation_off_sd_f double,
    subcooling_off_f double,
    subcooling_off_sd_f double,
    discharge_line_off_f double,
    discharge_line_off_sd_f double,
    condenser_rise_off_f double,
    condenser_rise_off_sd_f double,
    temperature_split_off_f double,
    temperature_split_off_sd_f double,
    borderline boolean,
    flood_back boolean,
    fits_low_airflow boolean
);

create table core.note_readings (
    -- one row per visit, unit, field and value told in a note; attributed: the unit's beyond doubt; used: it filled a blank
    unit_id varchar not null,
    visit_id varchar not null,
    visit_date date,
    field varchar not null,
    kind varchar not null,
    "value" double,
    value_text varchar,
    snippet varchar,
    mark varchar,
    attributed boolean,
    why_not varchar,
    used boolean
);

create table core.section_forecast (
    -- one row per active unit and rated section
    unit_id varchar not null,
    section varchar not null,
    season_start date,
    season_end date,
    as_of date,
    series bigint,
    tolerance_pct double,
    drift_pct double,
    drift_sd_pct double,
    drift_pct_per_year double,
    drift_at_season_end_pct double,
    drift_at_season_end_sd_pct double,
    p_out_now double,
    p_out_by_season_start double,
    p_out_by_season_end double,
    p_open_by_season_end double,
    out_of_tolerance_on date,
    out_earliest date,
    out_latest date,
    already_out boolean,
    basis varchar,
    rating_guessed boolean,
    readings bigint,
    last_reading_on date,
    last_drift_pct double
);

create table core.unit_forecast (
    -- one row per active unit
    unit_id varchar not null,
    as_of date,
    season_start date,
    season_end date,
    last_visit_on date,
    p_failure double,
    p_low double,
    p_high double,
    prevention_share double,
    net_saving double,
    worth_a_stop boolean,
    first_in_line boolean,
    flagged boolean,
    leading_reason varchar,
    reasons varchar,
    cause_shares varchar,
    basis varchar
);

create table core.risk_history (
    -- one row per unit and as-of of a run; kept from run to run
    unit_id varchar not null,
    as_of date not null,
    p_failure double,
    flagged boolean
);

create table core.forecast_params (
    -- one row per set of fitted parameters, newest last
    "name" varchar not null,
    fitted_through date,
    params varchar not null
);

create table core.capacitor_suspects (
    -- one row per capacitor reading held not believable for what the unit's history says, and reason
    unit_id varchar not null,
    visit_id varchar not null,
    field varchar not null,
    reason varchar not null,
    message varchar
);

create table core.charge_suspects (
    -- one row per charge reading held not believable for what the computed values say, and reason
    unit_id varchar not null,
    visit_id varchar not null,
    field varchar not null,
    reason varchar not null,
    message varchar
);

create table core.fleet_facts (
    -- one row per thing the whole fleet teaches, by the digest of what enrich last worked with
    "name" varchar not null,
    digest varchar not null
);

create table core.refrigerant_ledger (
    -- one row per unit and day with refrigerant added or recovered
    unit_id varchar not null,
    visit_id varchar not null,
    visit_date date not null,
    refrigerant varchar,
    added_oz double,
    recovered_oz double,
    net_oz double,
    kind varchar,
    factory_charge_oz double,
    days_since_addition bigint,
    leak_rate_annualized_pct double,
    leak_rate_rolling_pct double,
    federal_threshold varchar
);

create table core.refrigerant_use (
    -- one row per month and refrigerant
    "month" date not null,
    refrigerant varchar,
    visits bigint,
    added_oz double,
    recovered_oz double,
    net_oz double,
    gwp double,
    ozone_depleting boolean
);

create table core.charge_trend (
    -- one row per unit
    unit_id varchar not null,
    refrigerant_added_oz_12_months double,
    leak_rate_pct_per_year double,
    leak_rate_low_pct double,
    leak_rate_high_pct double,
    p_leaking double,
    charge_loss_suspected boolean,
    leak_rate_rolling_pct double,
    leak_rate_annualized_pct double,
    readings_used bigint,
    top_ups bigint,
    last_top_up_on date,
    because varchar
);

create table core.open_findings (
    -- one row per finding that was not put right on the visit itself
    unit_id varchar not null,
    finding varchar not null,
    found_on date not null,
    visit_id varchar not null,
    evidence varchar,
    decision varchar,
    decided_on date,
    days_open bigint,
    resolved_on date,
    resolved_by varchar,
    verified boolean
);

create table core.backtest (
    -- one row per past season, as-of and unit
    unit_id varchar not null,
    season varchar not null,
    as_of date not null,
    asked varchar,
    season_start date,
    season_end date,
    p_failure double,
    p_low double,
    p_high double,
    flagged boolean,
    last_reading_out boolean,
    failed boolean,
    failed_on date,
    failed_cause varchar,
    cause_shares varchar,
    basis varchar
);

create table core.backtest_readings (
    -- one row per past season, as-of and section: the next scheduled reading against its odds
    unit_id varchar not null,
    section varchar not null,
    season varchar not null,
    as_of date not null,
    asked varchar,
    visit_date date,
    drift_pct double,
    p_below double,
    below boolean,
    place double
);
