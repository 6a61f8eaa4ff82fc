-- +goose Up

-- The windows as calendars, feeds and webhooks last published them, and the caution
-- of each river that webhooks were last sent.
ALTER TABLE told_window RENAME TO published_window;
ALTER TABLE told_caution RENAME TO published_caution;
ALTER TABLE published_caution RENAME COLUMN told_at TO published_at;

-- +goose Down
ALTER TABLE published_caution RENAME COLUMN published_at TO told_at;
ALTER TABLE published_caution RENAME TO told_caution;
ALTER TABLE published_window RENAME TO told_window;
