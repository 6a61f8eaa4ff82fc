-- +goose Up

-- Installations whose sightings were received, with their rivers as JSON.
CREATE TABLE neighbour (
    id      TEXT NOT NULL PRIMARY KEY,
    rivers  TEXT NOT NULL,
    made_at BIGINT NOT NULL,
    read_at BIGINT NOT NULL
);

-- +goose Down
DROP TABLE neighbour;
