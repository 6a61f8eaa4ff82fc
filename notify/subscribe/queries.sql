-- name: AddToken :exec
INSERT INTO token (hash, purpose, folded, body, created_at, expires_at, used_at)
VALUES (@hash, @purpose, @folded, @body, @created_at, @expires_at, 0);

-- name: Token :one
SELECT * FROM token WHERE hash = @hash;

-- name: UseToken :execrows
UPDATE token SET used_at = @now, body = '' WHERE hash = @hash AND used_at = 0 AND expires_at > @now;

-- name: DropOldTokens :execrows
DELETE FROM token WHERE created_at < @before;

-- name: DropTokensOf :execrows
DELETE FROM token WHERE folded = @folded;

-- name: DropOldSignups :execrows
DELETE FROM signup WHERE at < @before;

-- name: DropSignupsOf :execrows
DELETE FROM signup WHERE address = @address;

-- name: PutPerson :exec
INSERT INTO person (id, address, folded, state, zone, units, quiet_from, quiet_to, wake_for_3, per_day, wording, confirmed_at, confirmed_from, paused_until, suppressed)
VALUES (@id, @address, @folded, @state, @zone, @units, @quiet_from, @quiet_to, @wake_for_3, @per_day, @wording, @confirmed_at, @confirmed_from, 0, '')
ON CONFLICT (folded) DO UPDATE SET
    address = excluded.address, state = excluded.state, zone = excluded.zone, units = excluded.units,
    quiet_from = excluded.quiet_from, quiet_to = excluded.quiet_to, wake_for_3 = excluded.wake_for_3,
    per_day = excluded.per_day, wording = excluded.wording, confirmed_at = excluded.confirmed_at,
    confirmed_from = excluded.confirmed_from, paused_until = 0, suppressed = '';

-- name: PersonByAddress :one
SELECT * FROM person WHERE folded = @folded;

-- name: Person :one
SELECT * FROM person WHERE id = @id;

-- name: People :many
SELECT * FROM person ORDER BY folded;

-- name: SetState :execrows
UPDATE person SET state = @state WHERE id = @id;

-- name: SetPause :execrows
UPDATE person SET paused_until = @paused_until WHERE id = @id;

-- name: Suppress :execrows
UPDATE person SET suppressed = @suppressed WHERE id = @id AND suppressed = '';

-- name: PutWant :exec
INSERT INTO subscription (id, person_id, river, group_list, stage_list, threshold, horizon_days, cadence, cautions, gauge_condition, created_at)
VALUES (@id, @person_id, @river, @group_list, @stage_list, @threshold, @horizon_days, @cadence, @cautions, @gauge_condition, @created_at)
ON CONFLICT (person_id, river) DO UPDATE SET
    group_list = excluded.group_list, stage_list = excluded.stage_list, threshold = excluded.threshold,
    horizon_days = excluded.horizon_days, cadence = excluded.cadence, cautions = excluded.cautions,
    gauge_condition = excluded.gauge_condition;

-- name: Wants :many
SELECT * FROM subscription WHERE person_id = @person_id ORDER BY river;

-- name: DropWants :execrows
DELETE FROM subscription WHERE person_id = @person_id;

-- name: DropWant :execrows
DELETE FROM subscription WHERE person_id = @person_id AND river = @river;

-- name: DropQueued :execrows
UPDATE outbox SET state = 'dropped', last_reply = @reason WHERE person_id = @person_id AND state IN ('queued', 'leased');

-- name: DropEpisodes :execrows
DELETE FROM episode WHERE person_id = @person_id;

-- name: DropOutbox :execrows
DELETE FROM outbox WHERE person_id = @person_id;

-- name: DropSendLog :execrows
DELETE FROM send_log WHERE person_id = @person_id;

-- name: DropBounces :execrows
DELETE FROM bounce WHERE person_id = @person_id;

-- name: DropPerson :execrows
DELETE FROM person WHERE id = @id;

-- name: EpisodesOf :many
SELECT * FROM episode WHERE person_id = @person_id ORDER BY river, rule;

-- name: OutboxOf :many
SELECT * FROM outbox WHERE person_id = @person_id ORDER BY created_at, dedupe_key;

-- name: SendLogOf :many
SELECT * FROM send_log WHERE person_id = @person_id ORDER BY at, id;

-- name: BouncesOf :many
SELECT * FROM bounce WHERE person_id = @person_id ORDER BY at, id;

-- name: AddBounce :execrows
INSERT INTO bounce (id, person_id, kind, status, source, at) VALUES (@id, @person_id, @kind, @status, @source, @at)
ON CONFLICT (id) DO NOTHING;
