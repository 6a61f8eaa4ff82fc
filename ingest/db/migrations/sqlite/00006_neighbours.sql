-- +goose Up

-- Installations whose sightings were received, with their rivers as JSON.
CREATE TABLE neighbour (
    id      TEXT NOT NULL PRIMARY KEY,
    rivers  TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    read_at INTEGER NOT NULL
) STRICT;

-- +goose Down
DROP TABLE neighbour;
