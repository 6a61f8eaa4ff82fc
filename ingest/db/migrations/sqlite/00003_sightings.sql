-- +goose Up

-- Where a sighting of the diary comes from: '' the owner, 'reader', or
-- 'neighbour'. author is a pseudonym of who wrote it, and held 1 where the owner
-- withholds it from the forecast.
ALTER TABLE sighting ADD COLUMN origin TEXT NOT NULL DEFAULT '';
ALTER TABLE sighting ADD COLUMN author TEXT NOT NULL DEFAULT '';
ALTER TABLE sighting ADD COLUMN held INTEGER NOT NULL DEFAULT 0;

CREATE INDEX sighting_author ON sighting (author, day);

-- How the owner treats what one author writes: 'trusted' or 'held'.
CREATE TABLE author (
    id       TEXT NOT NULL PRIMARY KEY,
    trust    TEXT NOT NULL,
    set_at   INTEGER NOT NULL
) STRICT;

-- Reporting links that were used, by their hash, until they expire.
CREATE TABLE used_link (
    hash       TEXT NOT NULL PRIMARY KEY,
    used_at    INTEGER NOT NULL,
    expires_at INTEGER NOT NULL
) STRICT;
CREATE INDEX used_link_expiry ON used_link (expires_at);

-- Dated records of open sources. why says why a record stands for no group; it
-- still measures how much people looked.
CREATE TABLE open_record (
    id            TEXT NOT NULL PRIMARY KEY,
    source        TEXT NOT NULL,
    name          TEXT NOT NULL,
    grp           TEXT NOT NULL,
    stage         TEXT NOT NULL,
    why           TEXT NOT NULL,
    region        TEXT NOT NULL,
    day           TEXT NOT NULL,
    last_day      TEXT NOT NULL,
    lat           REAL NOT NULL,
    lon           REAL NOT NULL,
    uncertainty_m REAL,
    elevation_m   REAL,
    obscured      INTEGER NOT NULL,
    absent        INTEGER NOT NULL,
    individuals   REAL,
    effort_hours  REAL,
    event         TEXT NOT NULL,
    observer      TEXT NOT NULL,
    licence       TEXT NOT NULL,
    credit        TEXT NOT NULL,
    published_at  INTEGER NOT NULL,
    stored_at     INTEGER NOT NULL,
    withheld      INTEGER NOT NULL
) STRICT;
CREATE INDEX open_record_place ON open_record (lat, day);
CREATE INDEX open_record_group ON open_record (grp, region, day);

-- How far the records of a place were fetched.
CREATE TABLE open_cursor (
    source     TEXT NOT NULL,
    place      TEXT NOT NULL,
    last_id    INTEGER NOT NULL,
    fetched_at INTEGER NOT NULL,
    PRIMARY KEY (source, place)
) STRICT;

-- How many insects of any kind people recorded on a day around a place.
CREATE TABLE open_effort (
    source TEXT NOT NULL,
    place  TEXT NOT NULL,
    day    TEXT NOT NULL,
    n      INTEGER NOT NULL,
    PRIMARY KEY (source, place, day)
) STRICT;

-- +goose Down
DROP TABLE open_effort;
DROP TABLE open_cursor;
DROP TABLE open_record;
DROP TABLE used_link;
DROP TABLE author;
DROP INDEX sighting_author;
ALTER TABLE sighting DROP COLUMN held;
ALTER TABLE sighting DROP COLUMN author;
ALTER TABLE sighting DROP COLUMN origin;
