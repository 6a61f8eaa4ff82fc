-- Statements of the rows that the intake keeps. They run on both dialects.

-- name: PutFeedState :exec
INSERT INTO feed_state (feed, item, etag, last_modified, tried_at, answered_at, newest_at, failures, last_error)
VALUES (@feed, @item, @etag, @last_modified, @tried_at, @answered_at, @newest_at, @failures, @last_error)
ON CONFLICT (feed, item) DO UPDATE SET
    etag = excluded.etag, last_modified = excluded.last_modified, tried_at = excluded.tried_at,
    answered_at = excluded.answered_at, newest_at = excluded.newest_at,
    failures = excluded.failures, last_error = excluded.last_error;

-- name: FeedState :one
SELECT * FROM feed_state WHERE feed = @feed AND item = @item;

-- name: FeedStates :many
SELECT * FROM feed_state ORDER BY feed, item;

-- name: PutArtefact :exec
INSERT INTO artefact (name, sha256, bytes, made_at)
VALUES (@name, @sha256, @bytes, @made_at)
ON CONFLICT (name) DO UPDATE SET sha256 = excluded.sha256, bytes = excluded.bytes, made_at = excluded.made_at;

-- name: AddOutlook :execrows
INSERT INTO outlook (river, issued_at, model_version, cutoff_at, artefact, sha256, body)
VALUES (@river, @issued_at, @model_version, @cutoff_at, @artefact, @sha256, @body)
ON CONFLICT (river, issued_at, model_version) DO NOTHING;

-- name: Outlook :one
SELECT * FROM outlook WHERE river = @river AND issued_at = @issued_at AND model_version = @model_version;

-- name: LatestOutlook :one
SELECT river, issued_at, model_version, cutoff_at, artefact, sha256 FROM outlook WHERE river = @river AND issued_at <= @as_of ORDER BY issued_at DESC, model_version DESC LIMIT 1;

-- name: Outlooks :many
SELECT * FROM outlook WHERE river = @river AND issued_at >= @from_at AND issued_at < @to_at ORDER BY issued_at, model_version;

-- name: AddSecret :exec
INSERT INTO secret (name, value, made_at) VALUES (@name, @value, @made_at) ON CONFLICT (name) DO NOTHING;

-- name: Secret :one
SELECT value FROM secret WHERE name = @name;
