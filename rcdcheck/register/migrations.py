"""The tables of a register, as steps from one version to the next; a step that was released is never changed.

A visit is one file that was audited; a sighting is one device in one visit; a test belongs to a sighting. `devices` and
`places` also hold what stands of them now (first_at to out_of_use, round_since), which `states` works out again for
every device and place that a visit touches. Days are texts such as 2026-11-25; `at` is the day of the test, or of the
audit where the sheet gives none. Keys are texts without case and signs (`keys`).
"""

from __future__ import annotations

APPLICATION = 0x52434443  # marks an SQLite file as a register

MIGRATIONS = (
    """
    CREATE TABLE schema_version (version INTEGER NOT NULL);
    INSERT INTO schema_version VALUES (0);

    CREATE TABLE visits (
        id INTEGER PRIMARY KEY,
        sha256 TEXT NOT NULL,
        file TEXT NOT NULL,
        bytes INTEGER NOT NULL,
        as_of TEXT NOT NULL,
        rules TEXT NOT NULL,
        rules_sha256 TEXT NOT NULL,
        program TEXT NOT NULL,
        grade TEXT NOT NULL,
        decided_by TEXT NOT NULL,
        tests INTEGER NOT NULL,
        devices INTEGER NOT NULL,
        fail INTEGER NOT NULL,
        unclear INTEGER NOT NULL,
        incomplete INTEGER NOT NULL,
        pass INTEGER NOT NULL,
        first_day TEXT,
        last_day TEXT,
        replaced_by INTEGER
    );
    CREATE UNIQUE INDEX visits_by_content ON visits (sha256) WHERE replaced_by IS NULL;

    CREATE TABLE places (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        first_at TEXT,
        last_at TEXT,
        round_since TEXT
    );
    CREATE TABLE place_names (key TEXT PRIMARY KEY, place INTEGER NOT NULL REFERENCES places) WITHOUT ROWID;

    CREATE TABLE devices (
        id INTEGER PRIMARY KEY,
        place INTEGER NOT NULL REFERENCES places,
        board TEXT NOT NULL,
        name TEXT NOT NULL,
        serial TEXT NOT NULL,
        location TEXT NOT NULL,
        kind TEXT NOT NULL,
        environment TEXT NOT NULL,
        model TEXT NOT NULL,
        rated REAL,
        board_key TEXT NOT NULL,
        name_key TEXT NOT NULL,
        plain_key TEXT NOT NULL,
        serial_key TEXT NOT NULL,
        moved_from INTEGER,
        replaces INTEGER,
        replaced_by INTEGER,
        first_at TEXT,
        last_at TEXT,
        outcome INTEGER,
        due TEXT,
        open_since TEXT,
        out_of_use TEXT
    );
    CREATE INDEX devices_by_name ON devices (name_key, place);
    CREATE INDEX devices_by_plain_name ON devices (plain_key, place);
    CREATE INDEX devices_by_serial ON devices (serial_key) WHERE serial_key <> '';
    CREATE INDEX devices_by_last ON devices (place, last_at);
    CREATE INDEX devices_by_due ON devices (due) WHERE due IS NOT NULL;
    CREATE INDEX devices_unsettled ON devices (outcome) WHERE outcome > 0;

    CREATE TABLE sightings (
        id INTEGER PRIMARY KEY,
        visit INTEGER NOT NULL REFERENCES visits,
        device INTEGER NOT NULL REFERENCES devices,
        site TEXT NOT NULL,
        board TEXT NOT NULL,
        name TEXT NOT NULL,
        serial TEXT NOT NULL,
        location TEXT NOT NULL,
        kind TEXT NOT NULL,
        environment TEXT NOT NULL,
        model TEXT NOT NULL,
        rated REAL,
        at TEXT NOT NULL,
        day TEXT,
        outcome INTEGER NOT NULL,
        remedied INTEGER NOT NULL,
        out_of_use INTEGER NOT NULL,
        how TEXT NOT NULL,
        why TEXT NOT NULL
    );
    CREATE INDEX sightings_by_device ON sightings (device);
    CREATE INDEX sightings_by_visit ON sightings (visit);

    CREATE TABLE slots (id INTEGER PRIMARY KEY, name TEXT UNIQUE NOT NULL);
    CREATE TABLE tests (
        id INTEGER PRIMARY KEY,
        sighting INTEGER NOT NULL REFERENCES sightings,
        outlet TEXT NOT NULL,
        day TEXT,
        clock TEXT,
        technician TEXT NOT NULL,
        instrument TEXT NOT NULL,
        visual INTEGER NOT NULL,
        push_button INTEGER NOT NULL,
        declared INTEGER NOT NULL,
        remark TEXT NOT NULL,
        remedy TEXT NOT NULL,
        outcome INTEGER NOT NULL,
        mark INTEGER NOT NULL,
        sheet TEXT NOT NULL,
        row INTEGER NOT NULL
    );
    CREATE INDEX tests_by_sighting ON tests (sighting);
    CREATE TABLE readings (
        test INTEGER NOT NULL REFERENCES tests,
        nth INTEGER NOT NULL,
        slot INTEGER NOT NULL REFERENCES slots,
        value REAL,
        state INTEGER NOT NULL,
        bound INTEGER NOT NULL,
        verdict INTEGER NOT NULL,
        "limit" REAL,
        PRIMARY KEY (test, nth)
    ) WITHOUT ROWID;
    """,
    """
    CREATE INDEX devices_by_first ON devices (place, first_at);
    CREATE INDEX devices_moved ON devices (moved_from) WHERE moved_from IS NOT NULL;
    CREATE INDEX devices_without_due ON devices (place)
        WHERE due IS NULL AND outcome = 0 AND out_of_use IS NULL AND replaced_by IS NULL;
    CREATE INDEX devices_out_of_use ON devices (out_of_use) WHERE out_of_use IS NOT NULL;
    """,
    """
    CREATE INDEX sightings_joined ON sightings (device) WHERE how <> '';
    CREATE INDEX devices_by_successor ON devices (replaced_by) WHERE replaced_by IS NOT NULL;
    CREATE TABLE settled (
        id INTEGER PRIMARY KEY,
        said TEXT NOT NULL,
        site TEXT NOT NULL,
        name TEXT NOT NULL,
        other_site TEXT NOT NULL,
        other_name TEXT NOT NULL
    );
    """,
    """
    CREATE TABLE sequences (
        visit INTEGER PRIMARY KEY REFERENCES visits,
        device BLOB NOT NULL,
        time0 BLOB NOT NULL,
        time180 BLOB NOT NULL,
        ramp BLOB NOT NULL
    );
    """,
    """
    CREATE INDEX devices_by_predecessor ON devices (replaces) WHERE replaces IS NOT NULL;
    DROP INDEX devices_by_successor;
    """,
)
