-- +goose Up

-- One row that is written to see whether the database takes writes.
CREATE TABLE probe (
    id INTEGER NOT NULL PRIMARY KEY,
    at BIGINT NOT NULL
);

-- Sign-ups by the domain of the address, as a hash, beside the address and the
-- network.
ALTER TABLE signup ADD COLUMN domain TEXT NOT NULL DEFAULT '';
CREATE INDEX signup_domain ON signup (domain, at);

-- Addresses, as hashes, that asked never to be written to again.
CREATE TABLE never (
    address TEXT NOT NULL PRIMARY KEY,
    at      BIGINT NOT NULL
);

-- +goose Down
DROP TABLE never;
DROP INDEX signup_domain;
ALTER TABLE signup DROP COLUMN domain;
DROP TABLE probe;
