-- +goose Up

-- Until when no mail is sent because the relay refused too many readers: one row.
CREATE TABLE mail_pause (
    id       INTEGER NOT NULL PRIMARY KEY,
    until_at INTEGER NOT NULL
) STRICT;

-- +goose Down
DROP TABLE mail_pause;
