-- +goose Up

-- The windows as calendars, feeds and webhooks last told them, so that one that
-- moves is told as moved and one that is no longer expected as cancelled.
CREATE TABLE told_window (
    river      TEXT    NOT NULL,
    insect     TEXT    NOT NULL, -- key of the group
    stage      TEXT    NOT NULL,
    season     INTEGER NOT NULL, -- year of the peak
    name       TEXT    NOT NULL,
    first_day  TEXT    NOT NULL,
    last_day   TEXT    NOT NULL,
    shown      INTEGER NOT NULL, -- 1: it was among the few that matter
    cancelled  INTEGER NOT NULL, -- 1: no longer expected
    changed_at BIGINT  NOT NULL,
    issued_at  BIGINT  NOT NULL, -- of the newest forecast that judged it
    PRIMARY KEY (river, insect, stage, season)
);

-- What each webhook is sent. The job that sends a message names it by its id.
CREATE TABLE webhook_message (
    id           TEXT   NOT NULL PRIMARY KEY,
    hook         TEXT   NOT NULL,
    body         TEXT   NOT NULL,
    made_at      BIGINT NOT NULL,
    delivered_at BIGINT NOT NULL -- 0: not yet
);
CREATE INDEX webhook_message_made ON webhook_message (made_at);

-- The caution of each river as webhooks last told it.
CREATE TABLE told_caution (
    river   TEXT    NOT NULL PRIMARY KEY,
    level   INTEGER NOT NULL, -- at least
    known   INTEGER NOT NULL,
    told_at BIGINT  NOT NULL
);

-- +goose Down
DROP TABLE told_caution;
DROP TABLE webhook_message;
DROP TABLE told_window;
