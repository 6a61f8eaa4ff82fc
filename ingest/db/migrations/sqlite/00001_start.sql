-- Every time is an INTEGER of microseconds since 1970 UTC, every date TEXT
-- YYYY-MM-DD, every yes/no 0 or 1, every id TEXT made by the program: so the
-- two dialects hold the same values and a row moves between them unchanged.

-- +goose Up

-- The diary. A sighting is never overwritten: a correction is a new revision.
CREATE TABLE sighting (
    id          TEXT NOT NULL,
    revision    INTEGER NOT NULL,
    day         TEXT NOT NULL,
    river       TEXT NOT NULL,
    grp         TEXT NOT NULL,
    stage       TEXT NOT NULL,
    amount      TEXT NOT NULL,
    hours       REAL NOT NULL,
    water_c     REAL,
    notes       TEXT NOT NULL,
    observer    TEXT NOT NULL,
    withdrawn   INTEGER NOT NULL,
    recorded_at INTEGER NOT NULL,
    PRIMARY KEY (id, revision)
) STRICT;
CREATE INDEX sighting_river_day ON sighting (river, day);

-- What the diary taught, one row per version, all kept.
CREATE TABLE calibration (
    river         TEXT NOT NULL,
    version       INTEGER NOT NULL,
    made_at       INTEGER NOT NULL,
    model_version TEXT NOT NULL,
    sightings     INTEGER NOT NULL,
    body          TEXT NOT NULL,
    PRIMARY KEY (river, version)
) STRICT;

-- Outlooks as issued. Rows are added, never changed.
CREATE TABLE outlook (
    river         TEXT NOT NULL,
    issued_at     INTEGER NOT NULL,
    model_version TEXT NOT NULL,
    cutoff_at     INTEGER NOT NULL,
    artefact      TEXT NOT NULL,
    sha256        TEXT NOT NULL,
    body          TEXT NOT NULL,
    PRIMARY KEY (river, issued_at, model_version)
) STRICT;

-- Files whose names are decided by their keys.
CREATE TABLE artefact (
    name    TEXT NOT NULL PRIMARY KEY,
    sha256  TEXT NOT NULL,
    bytes   INTEGER NOT NULL,
    made_at INTEGER NOT NULL
) STRICT;

-- What we know of each thing we fetch.
CREATE TABLE feed_state (
    feed          TEXT NOT NULL,
    item          TEXT NOT NULL,
    etag          TEXT NOT NULL,
    last_modified TEXT NOT NULL,
    tried_at      INTEGER NOT NULL,
    answered_at   INTEGER NOT NULL,
    newest_at     INTEGER NOT NULL,
    failures      INTEGER NOT NULL,
    last_error    TEXT NOT NULL,
    PRIMARY KEY (feed, item)
) STRICT;

-- Keys the program makes for itself, such as that of the unsubscribe links.
CREATE TABLE secret (
    name    TEXT NOT NULL PRIMARY KEY,
    value   TEXT NOT NULL,
    made_at INTEGER NOT NULL
) STRICT;

-- Who gets mail. folded is the address as compared; address is as written.
CREATE TABLE person (
    id            TEXT NOT NULL PRIMARY KEY,
    address       TEXT NOT NULL,
    folded        TEXT NOT NULL UNIQUE,
    state         TEXT NOT NULL,
    zone          TEXT NOT NULL,
    units         TEXT NOT NULL,
    quiet_from    INTEGER NOT NULL,
    quiet_to      INTEGER NOT NULL,
    wake_for_3    INTEGER NOT NULL,
    per_day       INTEGER NOT NULL,
    wording       TEXT NOT NULL,
    confirmed_at  INTEGER NOT NULL,
    confirmed_from TEXT NOT NULL,
    paused_until  INTEGER NOT NULL,
    suppressed    TEXT NOT NULL
) STRICT;

-- What they want to hear of: one row per river.
CREATE TABLE subscription (
    id           TEXT NOT NULL PRIMARY KEY,
    person_id    TEXT NOT NULL REFERENCES person (id) ON DELETE CASCADE,
    river        TEXT NOT NULL,
    group_list   TEXT NOT NULL,
    stage_list   TEXT NOT NULL,
    threshold    REAL NOT NULL,
    horizon_days INTEGER NOT NULL,
    cadence      TEXT NOT NULL,
    cautions     INTEGER NOT NULL,
    created_at   INTEGER NOT NULL,
    UNIQUE (person_id, river)
) STRICT;
CREATE INDEX subscription_river ON subscription (river, person_id);

-- Confirmation tokens, hashed; the token itself is in the mail only. body is
-- what was asked for: nothing else is kept of it before it is confirmed.
CREATE TABLE token (
    hash       TEXT NOT NULL PRIMARY KEY,
    purpose    TEXT NOT NULL,
    folded     TEXT NOT NULL,
    body       TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at    INTEGER NOT NULL
) STRICT;
CREATE INDEX token_folded ON token (folded);
CREATE INDEX token_created ON token (created_at);

-- Who asked for a confirmation mail and when, as hashes: the abuse limits.
CREATE TABLE signup (
    id      TEXT NOT NULL PRIMARY KEY,
    address TEXT NOT NULL,
    network TEXT NOT NULL,
    at      INTEGER NOT NULL
) STRICT;
CREATE INDEX signup_address ON signup (address, at);
CREATE INDEX signup_network ON signup (network, at);
CREATE INDEX signup_at ON signup (at);

-- What each river's rules know: the level that holds, and in body the streaks
-- that would change it. It belongs to the river, not to a person. seq counts
-- the changes; sent_seq is the last one that everybody was told of, and check_at
-- when to look again though nothing changed.
CREATE TABLE river_state (
    river      TEXT NOT NULL,
    rule       TEXT NOT NULL,
    level      INTEGER NOT NULL,
    episode    TEXT NOT NULL,
    seq        INTEGER NOT NULL,
    sent_seq   INTEGER NOT NULL,
    reading_at INTEGER NOT NULL,
    check_at   INTEGER NOT NULL,
    body       TEXT NOT NULL,
    PRIMARY KEY (river, rule)
) STRICT;

-- The facts that mails are made of, once for all who get them.
CREATE TABLE news (
    id      TEXT NOT NULL PRIMARY KEY,
    river   TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    body    TEXT NOT NULL
) STRICT;
CREATE INDEX news_made ON news (made_at);

-- What one person was told under one rule: the ledger of episodes. n counts the
-- things told, and is part of their keys; mail is the key of the last mail.
CREATE TABLE episode (
    person_id  TEXT NOT NULL REFERENCES person (id) ON DELETE CASCADE,
    river      TEXT NOT NULL,
    rule       TEXT NOT NULL,
    episode    TEXT NOT NULL,
    state      TEXT NOT NULL,
    sent_level INTEGER NOT NULL,
    sent_at    INTEGER NOT NULL,
    sent_from  TEXT NOT NULL,
    sent_to    TEXT NOT NULL,
    news       TEXT NOT NULL,
    streak     INTEGER NOT NULL,
    n          INTEGER NOT NULL,
    mail       TEXT NOT NULL,
    PRIMARY KEY (river, person_id, rule)
) STRICT;
CREATE INDEX episode_person ON episode (person_id);

-- Mails to send. The key says what the mail is, so it can be put in once only.
CREATE TABLE outbox (
    dedupe_key TEXT NOT NULL PRIMARY KEY,
    person_id  TEXT NOT NULL,
    kind       TEXT NOT NULL,
    level      INTEGER NOT NULL,
    message_id TEXT NOT NULL,
    body       TEXT NOT NULL,
    state      TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    not_before INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    attempts   INTEGER NOT NULL,
    lease_until INTEGER NOT NULL,
    lease_owner TEXT NOT NULL,
    last_code  INTEGER NOT NULL,
    last_reply TEXT NOT NULL
) STRICT;
CREATE INDEX outbox_due ON outbox (state, level, not_before);
CREATE INDEX outbox_expiry ON outbox (state, expires_at);
CREATE INDEX outbox_person ON outbox (person_id, state);

-- What happened to each mail, kept long after the outbox is cleaned.
CREATE TABLE send_log (
    id         TEXT NOT NULL PRIMARY KEY,
    dedupe_key TEXT NOT NULL,
    person_id  TEXT NOT NULL,
    kind       TEXT NOT NULL,
    level      INTEGER NOT NULL,
    result     TEXT NOT NULL,
    at         INTEGER NOT NULL,
    code       INTEGER NOT NULL,
    enhanced   TEXT NOT NULL,
    reply      TEXT NOT NULL
) STRICT;
CREATE INDEX send_log_key ON send_log (dedupe_key);
CREATE INDEX send_log_person ON send_log (person_id, at);

-- Bounces and complaints, from the SMTP talk and from delivery reports alike.
CREATE TABLE bounce (
    id        TEXT NOT NULL PRIMARY KEY,
    person_id TEXT NOT NULL,
    kind      TEXT NOT NULL,
    status    TEXT NOT NULL,
    source    TEXT NOT NULL,
    at        INTEGER NOT NULL
) STRICT;
CREATE INDEX bounce_person ON bounce (person_id, at);

-- +goose Down
DROP TABLE bounce;
DROP TABLE send_log;
DROP TABLE outbox;
DROP TABLE episode;
DROP TABLE news;
DROP TABLE river_state;
DROP TABLE signup;
DROP TABLE token;
DROP TABLE subscription;
DROP TABLE person;
DROP TABLE secret;
DROP TABLE feed_state;
DROP TABLE artefact;
DROP TABLE outlook;
DROP TABLE calibration;
DROP TABLE sighting;
