-- The shop's store, version 2. One SQLite file, WAL, foreign keys on, STRICT tables.
--
-- Two halves. Above the line DERIVED stand the facts: they are written once and never changed or
-- deleted; triggers refuse it. Below it stands what is worked out from them for searching and
-- counting; it may be dropped at any time and is made again from the facts (job_rebuild).
--
-- Times are milliseconds since 1970, UTC. Bodies are JSON objects, checked before they come here
-- (docs/facts.md). `application_id` says that the file is ours, `user_version` is the version above.

-- One visit of one amp. `number` is what stands on the ticket.
CREATE TABLE job (
    job     INTEGER PRIMARY KEY CHECK (job > 0),
    number  INTEGER NOT NULL UNIQUE CHECK (number > 0),
    opened  INTEGER NOT NULL
) STRICT;

-- The text of an amp file, under the BLAKE2b-256 hash of its bytes. A job keeps the drawing it
-- began with, whatever becomes of the library.
CREATE TABLE amp_text (
    hash    TEXT PRIMARY KEY NOT NULL CHECK (length(hash) = 64),
    text    TEXT NOT NULL
) STRICT;

-- What was taken in, measured, seen, decided, done. `replaces`: the fact that this one corrects.
-- `token`: the sender's own name for it, so that a lost answer can be asked again. `drawing`: the
-- amp's text that holds for the job from here on (added in version 2).
CREATE TABLE fact (
    id       INTEGER PRIMARY KEY CHECK (id > 0),
    job      INTEGER NOT NULL REFERENCES job (job),
    at       INTEGER NOT NULL,
    kind     TEXT NOT NULL,
    body     TEXT NOT NULL,
    replaces INTEGER REFERENCES fact (id) CHECK (replaces < id),
    token    TEXT,
    drawing  TEXT REFERENCES amp_text (hash)
) STRICT;
CREATE INDEX fact_of_job ON fact (job, id);
CREATE UNIQUE INDEX fact_token ON fact (job, token) WHERE token IS NOT NULL;

-- The shop's name, address, rates: the last row holds.
CREATE TABLE shop_fact (
    id      INTEGER PRIMARY KEY CHECK (id > 0),
    at      INTEGER NOT NULL,
    body    TEXT NOT NULL
) STRICT;

-- The shop's own amps: the last row of a name holds, older ones are its history.
CREATE TABLE amp_fact (
    id      INTEGER PRIMARY KEY CHECK (id > 0),
    at      INTEGER NOT NULL,
    name    TEXT NOT NULL COLLATE NOCASE,
    hash    TEXT NOT NULL REFERENCES amp_text (hash)
) STRICT;
CREATE INDEX amp_fact_name ON amp_fact (name, id);

-- Photos as JPEG without metadata, under the BLAKE2b-256 hash of `jpeg`; `small` is the thumbnail.
CREATE TABLE photo (
    hash    TEXT PRIMARY KEY NOT NULL CHECK (length(hash) = 64),
    jpeg    BLOB NOT NULL,
    small   BLOB NOT NULL
) STRICT;

CREATE TRIGGER job_stays BEFORE UPDATE ON job
BEGIN SELECT RAISE(ABORT, 'a job is never changed'); END;
CREATE TRIGGER job_kept BEFORE DELETE ON job
BEGIN SELECT RAISE(ABORT, 'a job is never deleted'); END;
CREATE TRIGGER fact_stays BEFORE UPDATE ON fact
BEGIN SELECT RAISE(ABORT, 'a fact is never changed'); END;
CREATE TRIGGER fact_kept BEFORE DELETE ON fact
BEGIN SELECT RAISE(ABORT, 'a fact is never deleted'); END;
CREATE TRIGGER shop_stays BEFORE UPDATE ON shop_fact
BEGIN SELECT RAISE(ABORT, 'a fact is never changed'); END;
CREATE TRIGGER shop_kept BEFORE DELETE ON shop_fact
BEGIN SELECT RAISE(ABORT, 'a fact is never deleted'); END;
CREATE TRIGGER amp_stays BEFORE UPDATE ON amp_fact
BEGIN SELECT RAISE(ABORT, 'a fact is never changed'); END;
CREATE TRIGGER amp_kept BEFORE DELETE ON amp_fact
BEGIN SELECT RAISE(ABORT, 'a fact is never deleted'); END;
CREATE TRIGGER amp_text_stays BEFORE UPDATE ON amp_text
BEGIN SELECT RAISE(ABORT, 'an amp text is never changed'); END;
CREATE TRIGGER amp_text_kept BEFORE DELETE ON amp_text
BEGIN SELECT RAISE(ABORT, 'an amp text is never deleted'); END;
CREATE TRIGGER photo_stays BEFORE UPDATE ON photo
BEGIN SELECT RAISE(ABORT, 'a photo is never changed'); END;
CREATE TRIGGER photo_kept BEFORE DELETE ON photo
BEGIN SELECT RAISE(ABORT, 'a photo is never deleted'); END;

-- DERIVED

DROP TABLE IF EXISTS summary;
DROP TABLE IF EXISTS reading;
DROP TABLE IF EXISTS words;

-- One line for each job: the front page and the history. `cause_kind` is the kind of part that was
-- to blame ("capacitor"), for amps of one family that number their parts differently.
CREATE TABLE summary (
    job         INTEGER PRIMARY KEY REFERENCES job (job),
    owner       TEXT NOT NULL,
    amp         TEXT NOT NULL COLLATE NOCASE,
    family      TEXT COLLATE NOCASE,
    complaint   TEXT NOT NULL,
    stage       TEXT NOT NULL,
    closed      INTEGER,
    found       TEXT,
    handed_back INTEGER NOT NULL,
    cause_part  TEXT COLLATE NOCASE,
    cause_kind  TEXT,
    cause_what  TEXT COLLATE NOCASE
) STRICT;
CREATE INDEX summary_open ON summary (job) WHERE closed IS NULL;
CREATE INDEX summary_amp ON summary (amp, cause_part, cause_what) WHERE handed_back;
CREATE INDEX summary_family ON summary (family, cause_kind, cause_what) WHERE handed_back;

-- The readings that stand, for the CSV and for counting.
CREATE TABLE reading (
    fact    INTEGER PRIMARY KEY REFERENCES fact (id),
    job     INTEGER NOT NULL REFERENCES job (job),
    phase   TEXT NOT NULL,
    place   TEXT NOT NULL,
    volts   REAL NOT NULL,
    meter   TEXT,
    mains   REAL,
    taken   INTEGER NOT NULL
) STRICT;
CREATE INDEX reading_of_job ON reading (job, fact);

-- What can be searched for; rowid is the job. Any beginning of a word finds it.
CREATE VIRTUAL TABLE words USING fts5 (
    owner, amp, part, fault, complaint,
    tokenize = "unicode61 remove_diacritics 2", prefix = '1 2 3'
);
