-- +goose Up

-- Where a sighting of the diary comes from: '' the owner, 'reader', or
-- 'neighbour'. author is a pseudonym of who wrote it, and held 1 where the owner
-- withholds it from the forecast.
ALTER TABLE sighting ADD COLUMN origin TEXT NOT NULL DEFAULT '';
ALTER TABLE sighting ADD COLUMN author TEXT NOT NULL DEFAULT '';
ALTER TABLE sighting ADD COLUMN held BIGINT NOT NULL DEFAULT 0;

CREATE INDEX sighting_author ON sighting (author, day);

-- How the owner treats what one author writes: 'trusted' or 'held'.
CREATE TABLE author (
    id       TEXT NOT NULL PRIMARY KEY,
    trust    TEXT NOT NULL,
    set_at   BIGINT NOT NULL
);

-- Reporting links that were used, by their hash, until they expire.
CREATE TABLE used_link (
    hash       TEXT NOT NULL PRIMARY KEY,
    used_at    BIGINT NOT NULL,
    expires_at BIGINT NOT NULL
);
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
    lat           DOUBLE PRECISION NOT NULL,
    lon           DOUBLE PRECISION NOT NULL,
    uncertainty_m DOUBLE PRECISION,
    elevation_m   DOUBLE PRECISION,
    obscured      BIGINT NOT NULL,
    absent        BIGINT NOT NULL,
    individuals   DOUBLE PRECISION,
    effort_hours  DOUBLE PRECISION,
    event         TEXT NOT NULL,
    observer      TEXT NOT NULL,
    licence       TEXT NOT NULL,
    credit        TEXT NOT NULL,
    published_at  BIGINT NOT NULL,
    stored_at     BIGINT NOT NULL,
    withheld      BIGINT NOT NULL
);
CREATE INDEX open_record_place ON open_record (lat, day);
CREATE INDEX open_record_group ON open_record (grp, region, day);

-- How far the records of a place were fetched.
CREATE TABLE open_cursor (
    source     TEXT NOT NULL,
    place      TEXT NOT NULL,
    last_id    BIGINT NOT NULL,
    fetched_at BIGINT NOT NULL,
    PRIMARY KEY (source, place)
);

-- How many insects of any kind people recorded on a day around a place.
CREATE TABLE open_effort (
    source TEXT NOT NULL,
    place  TEXT NOT NULL,
    day    TEXT NOT NULL,
    n      BIGINT NOT NULL,
    PRIMARY KEY (source, place, day)
);

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
