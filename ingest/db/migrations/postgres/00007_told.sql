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

-- +goose Down
DROP TABLE told_window;
