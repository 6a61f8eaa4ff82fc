-- +goose Up

-- The value at the gauge that a subscription waits for, as subscribe.Condition
-- writes it; empty: none.
ALTER TABLE subscription ADD COLUMN gauge_condition TEXT NOT NULL DEFAULT '';

-- +goose Down
ALTER TABLE subscription DROP COLUMN gauge_condition;
