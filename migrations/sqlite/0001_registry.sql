-- The one position: every writing transaction raises it first, so positions are gap-free and in commit order.
CREATE TABLE journal_head (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    position INTEGER NOT NULL,
    at TEXT
) STRICT;
INSERT INTO journal_head (one, position, at) VALUES (1, 0, NULL);

-- The chains: site:<id>, corporation, medical.
CREATE TABLE journal_chain (
    chain TEXT PRIMARY KEY,
    entries INTEGER NOT NULL,
    head BLOB NOT NULL
) STRICT;

-- Every accepted change. The envelope holds no personal data; image and salt may lawfully be removed.
CREATE TABLE journal_entry (
    position INTEGER NOT NULL,
    ordinal INTEGER NOT NULL,
    chain TEXT NOT NULL,
    place INTEGER NOT NULL,
    at TEXT NOT NULL,
    account_id BLOB NOT NULL,
    kind TEXT NOT NULL,
    deed TEXT NOT NULL,
    subject_id BLOB NOT NULL,
    site_id BLOB,
    format INTEGER NOT NULL,
    image TEXT,
    salt BLOB,
    image_digest BLOB NOT NULL,
    previous_hash BLOB NOT NULL,
    entry_hash BLOB NOT NULL,
    PRIMARY KEY (position, ordinal),
    UNIQUE (chain, place)
) STRICT;
CREATE INDEX journal_entry_subject ON journal_entry (subject_id, position);
CREATE INDEX journal_entry_at ON journal_entry (at, position);
CREATE INDEX journal_entry_site ON journal_entry (site_id, position);

CREATE TABLE site (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    code TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX site_current ON site (id) WHERE known_to = 9223372036854775807;
CREATE UNIQUE INDEX site_natural ON site (code) WHERE known_to = 9223372036854775807;

CREATE TABLE account (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    email TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX account_current ON account (id) WHERE known_to = 9223372036854775807;
CREATE UNIQUE INDEX account_natural ON account (email) WHERE known_to = 9223372036854775807;

CREATE TABLE access_token (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX access_token_current ON access_token (id) WHERE known_to = 9223372036854775807;
CREATE INDEX access_token_parent ON access_token (parent_id, known_to);

CREATE TABLE agent (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    code TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX agent_current ON agent (id) WHERE known_to = 9223372036854775807;
CREATE UNIQUE INDEX agent_natural ON agent (code) WHERE known_to = 9223372036854775807;

CREATE TABLE exposure_limit (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX exposure_limit_current ON exposure_limit (id) WHERE known_to = 9223372036854775807;
CREATE INDEX exposure_limit_parent ON exposure_limit (parent_id, known_to);

CREATE TABLE compared_with (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX compared_with_current ON compared_with (id) WHERE known_to = 9223372036854775807;
CREATE INDEX compared_with_parent ON compared_with (parent_id, known_to);

CREATE TABLE mixture_set (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX mixture_set_current ON mixture_set (id) WHERE known_to = 9223372036854775807;

CREATE TABLE pack_row (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    row_id TEXT,
    file TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX pack_row_current ON pack_row (id) WHERE known_to = 9223372036854775807;
CREATE UNIQUE INDEX pack_row_natural ON pack_row (file, row_id) WHERE known_to = 9223372036854775807;

CREATE TABLE rule_set_change (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX rule_set_change_current ON rule_set_change (id) WHERE known_to = 9223372036854775807;
CREATE INDEX rule_set_change_site ON rule_set_change (site_id, id, known_to);
CREATE INDEX rule_set_change_parent ON rule_set_change (parent_id, known_to);

CREATE TABLE monitoring_option (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    agent_code TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX monitoring_option_current ON monitoring_option (id) WHERE known_to = 9223372036854775807;
CREATE INDEX monitoring_option_site ON monitoring_option (site_id, id, known_to);
CREATE INDEX monitoring_option_parent ON monitoring_option (parent_id, known_to);

CREATE TABLE holiday (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    date TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX holiday_current ON holiday (id) WHERE known_to = 9223372036854775807;
CREATE INDEX holiday_site ON holiday (site_id, id, known_to);
CREATE INDEX holiday_parent ON holiday (parent_id, known_to);
CREATE UNIQUE INDEX holiday_natural ON holiday (site_id, date) WHERE known_to = 9223372036854775807;

CREATE TABLE plant_release (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX plant_release_current ON plant_release (id) WHERE known_to = 9223372036854775807;
CREATE INDEX plant_release_site ON plant_release (site_id, id, known_to);
CREATE INDEX plant_release_parent ON plant_release (parent_id, known_to);

CREATE TABLE exposure_group (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    code TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX exposure_group_current ON exposure_group (id) WHERE known_to = 9223372036854775807;
CREATE INDEX exposure_group_site ON exposure_group (site_id, id, known_to);
CREATE INDEX exposure_group_parent ON exposure_group (parent_id, known_to);
CREATE UNIQUE INDEX exposure_group_natural ON exposure_group (site_id, code) WHERE known_to = 9223372036854775807;

CREATE TABLE group_condition (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    agent_code TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX group_condition_current ON group_condition (id) WHERE known_to = 9223372036854775807;
CREATE INDEX group_condition_site ON group_condition (site_id, id, known_to);
CREATE INDEX group_condition_parent ON group_condition (parent_id, known_to);

CREATE TABLE group_change (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX group_change_current ON group_change (id) WHERE known_to = 9223372036854775807;
CREATE INDEX group_change_site ON group_change (site_id, id, known_to);
CREATE INDEX group_change_parent ON group_change (parent_id, known_to);

CREATE TABLE expected_agent (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    agent_code TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX expected_agent_current ON expected_agent (id) WHERE known_to = 9223372036854775807;
CREATE INDEX expected_agent_site ON expected_agent (site_id, id, known_to);
CREATE INDEX expected_agent_parent ON expected_agent (parent_id, known_to);

CREATE TABLE joined_era (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX joined_era_current ON joined_era (id) WHERE known_to = 9223372036854775807;
CREATE INDEX joined_era_site ON joined_era (site_id, id, known_to);
CREATE INDEX joined_era_parent ON joined_era (parent_id, known_to);

CREATE TABLE judgement (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    group_id BLOB,
    agent_code TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX judgement_current ON judgement (id) WHERE known_to = 9223372036854775807;
CREATE INDEX judgement_site ON judgement (site_id, id, known_to);
CREATE INDEX judgement_parent ON judgement (parent_id, known_to);
CREATE INDEX judgement_group_id ON judgement (group_id, known_to);

CREATE TABLE task (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    code TEXT,
    group_id BLOB,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX task_current ON task (id) WHERE known_to = 9223372036854775807;
CREATE INDEX task_site ON task (site_id, id, known_to);
CREATE INDEX task_parent ON task (parent_id, known_to);
CREATE INDEX task_group_id ON task (group_id, known_to);
CREATE UNIQUE INDEX task_natural ON task (site_id, code) WHERE known_to = 9223372036854775807;

CREATE TABLE control (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    code TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX control_current ON control (id) WHERE known_to = 9223372036854775807;
CREATE INDEX control_site ON control (site_id, id, known_to);
CREATE INDEX control_parent ON control (parent_id, known_to);
CREATE UNIQUE INDEX control_natural ON control (site_id, code) WHERE known_to = 9223372036854775807;

CREATE TABLE control_period (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    control_id BLOB,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX control_period_current ON control_period (id) WHERE known_to = 9223372036854775807;
CREATE INDEX control_period_site ON control_period (site_id, id, known_to);
CREATE INDEX control_period_parent ON control_period (parent_id, known_to);
CREATE INDEX control_period_control_id ON control_period (control_id, known_to);

CREATE TABLE worker (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    entered_by BLOB,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX worker_current ON worker (id) WHERE known_to = 9223372036854775807;

CREATE TABLE employment (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    employer TEXT,
    employee_number TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX employment_current ON employment (id) WHERE known_to = 9223372036854775807;
CREATE INDEX employment_parent ON employment (parent_id, known_to);
CREATE UNIQUE INDEX employment_natural ON employment (employer, employee_number) WHERE known_to = 9223372036854775807;

CREATE TABLE earlier_exposure (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX earlier_exposure_current ON earlier_exposure (id) WHERE known_to = 9223372036854775807;
CREATE INDEX earlier_exposure_parent ON earlier_exposure (parent_id, known_to);

CREATE TABLE assignment (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    group_id BLOB,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX assignment_current ON assignment (id) WHERE known_to = 9223372036854775807;
CREATE INDEX assignment_site ON assignment (site_id, id, known_to);
CREATE INDEX assignment_parent ON assignment (parent_id, known_to);
CREATE INDEX assignment_group_id ON assignment (group_id, known_to);

CREATE TABLE worked_day (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    group_id BLOB,
    date TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX worked_day_current ON worked_day (id) WHERE known_to = 9223372036854775807;
CREATE INDEX worked_day_site ON worked_day (site_id, id, known_to);
CREATE INDEX worked_day_parent ON worked_day (parent_id, known_to);
CREATE INDEX worked_day_group_id ON worked_day (group_id, known_to);
CREATE UNIQUE INDEX worked_day_natural ON worked_day (parent_id, group_id, date) WHERE known_to = 9223372036854775807;

CREATE TABLE absence (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX absence_current ON absence (id) WHERE known_to = 9223372036854775807;
CREATE INDEX absence_parent ON absence (parent_id, known_to);

CREATE TABLE worker_alias (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    of_worker_id BLOB,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX worker_alias_current ON worker_alias (id) WHERE known_to = 9223372036854775807;
CREATE INDEX worker_alias_parent ON worker_alias (parent_id, known_to);
CREATE INDEX worker_alias_of_worker_id ON worker_alias (of_worker_id, known_to);

CREATE TABLE medical_ground (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX medical_ground_current ON medical_ground (id) WHERE known_to = 9223372036854775807;
CREATE INDEX medical_ground_parent ON medical_ground (parent_id, known_to);

CREATE TABLE respirator_confirmation (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX respirator_confirmation_current ON respirator_confirmation (id) WHERE known_to = 9223372036854775807;
CREATE INDEX respirator_confirmation_site ON respirator_confirmation (site_id, id, known_to);
CREATE INDEX respirator_confirmation_parent ON respirator_confirmation (parent_id, known_to);

CREATE TABLE sampling_event (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    reference TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX sampling_event_current ON sampling_event (id) WHERE known_to = 9223372036854775807;
CREATE INDEX sampling_event_site ON sampling_event (site_id, id, known_to);
CREATE INDEX sampling_event_parent ON sampling_event (parent_id, known_to);
CREATE UNIQUE INDEX sampling_event_natural ON sampling_event (site_id, reference) WHERE known_to = 9223372036854775807;

CREATE TABLE sample (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    number TEXT,
    worker_id BLOB,
    group_id BLOB,
    task_id BLOB,
    shift_date TEXT,
    position TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX sample_current ON sample (id) WHERE known_to = 9223372036854775807;
CREATE INDEX sample_site ON sample (site_id, id, known_to);
CREATE INDEX sample_parent ON sample (parent_id, known_to);
CREATE INDEX sample_worker_id ON sample (worker_id, known_to);
CREATE INDEX sample_group_id ON sample (group_id, known_to);
CREATE INDEX sample_task_id ON sample (task_id, known_to);
CREATE UNIQUE INDEX sample_natural ON sample (site_id, number) WHERE known_to = 9223372036854775807;

CREATE TABLE lab_report (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    laboratory TEXT,
    report_number TEXT,
    part INTEGER,
    report_revision INTEGER,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX lab_report_current ON lab_report (id) WHERE known_to = 9223372036854775807;
CREATE INDEX lab_report_site ON lab_report (site_id, id, known_to);
CREATE INDEX lab_report_parent ON lab_report (parent_id, known_to);
CREATE UNIQUE INDEX lab_report_natural ON lab_report (site_id, laboratory, report_number, COALESCE(part, 0), COALESCE(report_revision, 0)) WHERE known_to = 9223372036854775807;

CREATE TABLE lab_result (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    sample_id BLOB,
    agent_code TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX lab_result_current ON lab_result (id) WHERE known_to = 9223372036854775807;
CREATE INDEX lab_result_site ON lab_result (site_id, id, known_to);
CREATE INDEX lab_result_parent ON lab_result (parent_id, known_to);
CREATE INDEX lab_result_sample_id ON lab_result (sample_id, known_to);

CREATE TABLE held_row (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX held_row_current ON held_row (id) WHERE known_to = 9223372036854775807;
CREATE INDEX held_row_site ON held_row (site_id, id, known_to);
CREATE INDEX held_row_parent ON held_row (parent_id, known_to);

CREATE TABLE direct_readings (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    task_id BLOB,
    shift_date TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX direct_readings_current ON direct_readings (id) WHERE known_to = 9223372036854775807;
CREATE INDEX direct_readings_site ON direct_readings (site_id, id, known_to);
CREATE INDEX direct_readings_parent ON direct_readings (parent_id, known_to);
CREATE INDEX direct_readings_task_id ON direct_readings (task_id, known_to);

CREATE TABLE duty (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    worker_id BLOB,
    group_id BLOB,
    agent_code TEXT,
    trigger_id TEXT,
    occasion TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX duty_current ON duty (id) WHERE known_to = 9223372036854775807;
CREATE INDEX duty_worker_id ON duty (worker_id, known_to);
CREATE INDEX duty_group_id ON duty (group_id, known_to);

CREATE TABLE duty_action (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX duty_action_current ON duty_action (id) WHERE known_to = 9223372036854775807;
CREATE INDEX duty_action_parent ON duty_action (parent_id, known_to);

CREATE TABLE standing_move (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    group_id BLOB,
    agent_code TEXT,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX standing_move_current ON standing_move (id) WHERE known_to = 9223372036854775807;
CREATE INDEX standing_move_site ON standing_move (site_id, id, known_to);
CREATE INDEX standing_move_group_id ON standing_move (group_id, known_to);

CREATE TABLE letter (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    worker_id BLOB,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX letter_current ON letter (id) WHERE known_to = 9223372036854775807;
CREATE INDEX letter_worker_id ON letter (worker_id, known_to);

-- Secrets stand apart from the facts: no image holds one.
CREATE TABLE token_secret (
    token_id BLOB PRIMARY KEY,
    digest BLOB NOT NULL UNIQUE
) STRICT;
CREATE TABLE account_secret (
    account_id BLOB PRIMARY KEY,
    password_hash TEXT NOT NULL,
    changed_at TEXT NOT NULL
) STRICT;

-- First answers to writing requests, kept for their second asking.
CREATE TABLE idempotency (
    account_id BLOB NOT NULL,
    key TEXT NOT NULL,
    route TEXT NOT NULL,
    body_digest BLOB NOT NULL,
    status INTEGER NOT NULL,
    location TEXT,
    body TEXT NOT NULL,
    stored_at TEXT NOT NULL,
    PRIMARY KEY (account_id, key)
) STRICT;
CREATE INDEX idempotency_stored_at ON idempotency (stored_at);

-- What a fact has made stale: upserted in the fact's own transaction, followed by the recompute worker.
CREATE TABLE mark (
    kind TEXT NOT NULL,
    subject_id BLOB NOT NULL,
    agent_code TEXT NOT NULL,
    wanted INTEGER NOT NULL,
    leased_until TEXT,
    PRIMARY KEY (kind, subject_id, agent_code)
) STRICT;

-- The derived tables: thrown away and rebuilt to the same bytes.
CREATE TABLE group_profile (
    group_id BLOB NOT NULL,
    agent_code TEXT NOT NULL,
    position INTEGER NOT NULL,
    inputs_digest BLOB NOT NULL,
    calculation_version INTEGER NOT NULL,
    changes_on TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (group_id, agent_code)
) STRICT;
CREATE TABLE control_verdict (
    task_id BLOB NOT NULL,
    agent_code TEXT NOT NULL,
    position INTEGER NOT NULL,
    inputs_digest BLOB NOT NULL,
    calculation_version INTEGER NOT NULL,
    changes_on TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (task_id, agent_code)
) STRICT;
CREATE TABLE worker_shifts (
    worker_id BLOB NOT NULL,
    agent_code TEXT NOT NULL,
    position INTEGER NOT NULL,
    inputs_digest BLOB NOT NULL,
    calculation_version INTEGER NOT NULL,
    changes_on TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (worker_id, agent_code)
) STRICT;
CREATE TABLE worker_summary (
    worker_id BLOB NOT NULL,
    agent_code TEXT NOT NULL,
    position INTEGER NOT NULL,
    inputs_digest BLOB NOT NULL,
    calculation_version INTEGER NOT NULL,
    changes_on TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (worker_id, agent_code)
) STRICT;

-- Who read what about whom: on disk before the answer leaves.
CREATE TABLE access_line (
    id BLOB PRIMARY KEY,
    at TEXT NOT NULL,
    account_id BLOB NOT NULL,
    request TEXT NOT NULL,
    worker_id BLOB,
    scope TEXT,
    position INTEGER NOT NULL,
    workers INTEGER NOT NULL
) STRICT;
CREATE INDEX access_line_worker ON access_line (worker_id, at);
