-- The shop's store as version 1 made it, with two jobs: kept so that its migration is tested.
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
-- `token`: the sender's own name for it, so that a lost answer can be asked again.
CREATE TABLE fact (
    id       INTEGER PRIMARY KEY CHECK (id > 0),
    job      INTEGER NOT NULL REFERENCES job (job),
    at       INTEGER NOT NULL,
    kind     TEXT NOT NULL,
    body     TEXT NOT NULL,
    replaces INTEGER REFERENCES fact (id) CHECK (replaces < id),
    token    TEXT
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

CREATE TABLE summary (
    job       INTEGER PRIMARY KEY REFERENCES job (job),
    owner     TEXT NOT NULL,
    amp       TEXT NOT NULL,
    complaint TEXT NOT NULL,
    stage     TEXT NOT NULL,
    closed    INTEGER,
    found     TEXT
) STRICT;

CREATE TABLE reading (
    fact  INTEGER PRIMARY KEY REFERENCES fact (id),
    job   INTEGER NOT NULL REFERENCES job (job),
    phase TEXT NOT NULL,
    place TEXT NOT NULL,
    volts REAL NOT NULL
) STRICT;

CREATE VIRTUAL TABLE words USING fts5 (owner, amp, part, fault, complaint);

-- Two jobs, made up: one on the bench, one handed back.

INSERT INTO shop_fact (id, at, body)
VALUES (1, 1740830400000, '{"name":"Bench under the stairs","currency":"EUR"}');
INSERT INTO job (job, number, opened) VALUES (1, 7, 1740830400000), (2, 8, 1740830500000);
INSERT INTO fact (id, job, at, kind, body, replaces, token) VALUES
(1, 1, 1740830400000, 'take in',
 '{"owner":"Ada Example","complaint":"hums","amp":"saltpan"}', NULL, NULL),
(2, 2, 1740830500000, 'take in',
 '{"owner":"Bram Example","complaint":"no sound","amp":"saltpan"}', NULL, NULL),
(3, 1, 1740830600000, 'reading', '{"phase":"before","at":"V1.1","volts":70.5}', NULL, 't-1'),
(4, 1, 1740830700000, 'reading', '{"phase":"before","at":"V1.1","volts":78.5}', 3, 't-2'),
(5, 2, 1740830800000, 'hand back',
 '{"found":"C11 leaked","done":"a new one","cause_part":"C11","cause_what":"leaky"}', NULL, NULL),
(6, 1, 1740830900000, 'note', '{"text":"wrong job"}', NULL, NULL),
(7, 1, 1740831000000, 'undo', '{"fact":6}', NULL, NULL);
INSERT INTO summary (job, owner, amp, complaint, stage, closed, found) VALUES
(1, 'Ada Example', 'saltpan', 'hums', 'measure', NULL, NULL),
(2, 'Bram Example', 'saltpan', 'no sound', 'done', 1740830800000, 'C11 leaked');
INSERT INTO reading (fact, job, phase, place, volts) VALUES (4, 1, 'before', 'V1.1', 78.5);
INSERT INTO words (rowid, owner, amp, part, fault, complaint) VALUES
(1, 'Ada Example', 'saltpan', '', '', 'hums'),
(2, 'Bram Example', 'saltpan', 'C11', 'leaky C11 leaked', 'no sound');

PRAGMA application_id = 1735552107;
PRAGMA user_version = 1;
