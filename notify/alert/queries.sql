-- name: River :one
SELECT * FROM river_state WHERE river = @river AND rule = @rule;

-- name: Rivers :many
SELECT * FROM river_state WHERE rule = @rule ORDER BY river;

-- name: LockRule :execrows
UPDATE river_state SET sent_seq = sent_seq WHERE river = @river AND rule = @rule;

-- name: PutRiver :exec
INSERT INTO river_state (river, rule, level, episode, seq, sent_seq, reading_at, check_at, body)
VALUES (@river, @rule, @level, '', @seq, 0, @reading_at, 0, @body)
ON CONFLICT (river, rule) DO UPDATE SET
    level = excluded.level, seq = excluded.seq, reading_at = excluded.reading_at, body = excluded.body;

-- name: TouchRiver :execrows
UPDATE river_state SET seq = seq + 1 WHERE river = @river;

-- name: TouchRule :execrows
UPDATE river_state SET seq = seq + 1 WHERE river = @river AND rule = @rule;

-- name: DirtyRivers :many
SELECT DISTINCT river FROM river_state WHERE sent_seq < seq OR (check_at > 0 AND check_at <= @now) ORDER BY river;

-- name: RiverSent :execrows
UPDATE river_state SET sent_seq = @seq, check_at = @check_at WHERE river = @river AND rule = @rule;

-- name: AddNews :exec
INSERT INTO news (id, river, made_at, body) VALUES (@id, @river, @made_at, @body) ON CONFLICT (id) DO NOTHING;

-- name: News :one
SELECT body FROM news WHERE id = @id;

-- name: DropOldNews :execrows
DELETE FROM news WHERE made_at < @before;

-- name: Audience :many
SELECT p.id, p.zone, p.quiet_from, p.quiet_to, p.wake_for_3, p.per_day, p.confirmed_at,
    s.group_list, s.stage_list, s.threshold, s.horizon_days, s.cadence, s.cautions, s.gauge_condition
FROM subscription s JOIN person p ON p.id = s.person_id
WHERE s.river = @river AND s.person_id > @after AND p.state = 'active' AND p.suppressed = '' AND p.paused_until <= @now
ORDER BY s.person_id LIMIT @many;

-- name: GaugeConditions :one
SELECT COUNT(*) FROM subscription WHERE river = @river AND gauge_condition <> '';

-- name: Ledger :many
SELECT * FROM episode WHERE river = @river AND person_id > @after AND person_id <= @until ORDER BY person_id, rule;

-- name: LedgerRow :one
SELECT * FROM episode WHERE river = @river AND person_id = @person_id AND rule = @rule;

-- name: PutLedger :exec
INSERT INTO episode (person_id, river, rule, episode, state, sent_level, sent_at, sent_from, sent_to, news, streak, n, mail)
VALUES (@person_id, @river, @rule, @episode, @state, @sent_level, @sent_at, @sent_from, @sent_to, @news, @streak, @n, @mail)
ON CONFLICT (river, person_id, rule) DO UPDATE SET
    episode = excluded.episode, state = excluded.state, sent_level = excluded.sent_level, sent_at = excluded.sent_at,
    sent_from = excluded.sent_from, sent_to = excluded.sent_to, news = excluded.news, streak = excluded.streak,
    n = excluded.n, mail = excluded.mail;

-- name: Waiting :many
SELECT dedupe_key, person_id, kind, level, body, not_before, expires_at FROM outbox
WHERE person_id > @after AND person_id <= @until AND state = 'queued' AND attempts = 0;

-- name: MailsSince :many
SELECT person_id, COUNT(*) AS mails FROM outbox
WHERE person_id > @after AND person_id <= @until AND created_at > @since AND state <> 'dropped'
GROUP BY person_id;

-- name: AddMail :execrows
INSERT INTO outbox (dedupe_key, person_id, kind, level, message_id, body, state, created_at, not_before, expires_at, attempts, lease_until, lease_owner, last_code, last_reply)
VALUES (@dedupe_key, @person_id, @kind, @level, @message_id, @body, 'queued', @created_at, @not_before, @expires_at, 0, 0, '', 0, '')
ON CONFLICT (dedupe_key) DO NOTHING;

-- name: ChangeMail :execrows
UPDATE outbox SET level = @level, body = @body, not_before = @not_before, expires_at = @expires_at
WHERE dedupe_key = @dedupe_key AND state = 'queued';

-- name: Due :many
SELECT * FROM outbox WHERE state = 'queued' AND level = @level AND not_before <= @now ORDER BY not_before, dedupe_key LIMIT @many;

-- name: Expired :many
SELECT * FROM outbox WHERE state = 'queued' AND expires_at <= @now ORDER BY expires_at LIMIT @many;

-- name: Lost :many
SELECT * FROM outbox WHERE state = @state AND lease_until <= @now AND level >= 0 ORDER BY dedupe_key LIMIT @many;

-- name: Mail :one
SELECT * FROM outbox WHERE dedupe_key = @dedupe_key;

-- name: OutboxOf :many
SELECT * FROM outbox WHERE person_id = @person_id ORDER BY created_at, dedupe_key;

-- name: Lease :execrows
UPDATE outbox SET state = 'leased', lease_owner = @owner, lease_until = @until, attempts = attempts + 1, level = @level, body = @body
WHERE dedupe_key = @dedupe_key AND state = 'queued';

-- name: Begin :execrows
UPDATE outbox SET state = 'sending' WHERE dedupe_key = @dedupe_key AND state = 'leased' AND lease_owner = @owner AND lease_until > @now AND expires_at > @now;

-- name: End :execrows
UPDATE outbox SET state = @state, not_before = @not_before, lease_until = 0, lease_owner = '', last_code = @code, last_reply = @reply
WHERE dedupe_key = @dedupe_key AND state = @was;

-- name: AddLog :exec
INSERT INTO send_log (id, dedupe_key, person_id, kind, level, result, at, code, enhanced, reply)
VALUES (@id, @dedupe_key, @person_id, @kind, @level, @result, @at, @code, @enhanced, @reply)
ON CONFLICT (id) DO NOTHING;

-- name: LogOf :many
SELECT * FROM send_log WHERE dedupe_key = @dedupe_key ORDER BY at, id;

-- name: Reader :one
SELECT * FROM person WHERE id = @id;

-- name: Counts :many
SELECT state, COUNT(*) AS mails FROM outbox GROUP BY state ORDER BY state;

-- name: DropOldMails :execrows
DELETE FROM outbox WHERE created_at < @before AND state NOT IN ('queued', 'leased', 'sending');

-- name: DropOldLog :execrows
DELETE FROM send_log WHERE at < @before;
