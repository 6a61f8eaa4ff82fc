-- name: AddRevision :exec
INSERT INTO sighting (id, revision, day, river, grp, stage, amount, hours, water_c, notes, observer, withdrawn, recorded_at, origin, author, held)
VALUES (@id, @revision, @day, @river, @grp, @stage, @amount, @hours, @water_c, @notes, @observer, @withdrawn, @recorded_at, @origin, @author, @held);

-- name: Current :one
SELECT * FROM sighting WHERE id = @id ORDER BY revision DESC LIMIT 1;

-- name: History :many
SELECT * FROM sighting WHERE id = @id ORDER BY revision;

-- name: List :many
SELECT * FROM sighting s
WHERE s.revision = (SELECT MAX(n.revision) FROM sighting n WHERE n.id = s.id AND n.recorded_at <= @as_of)
  AND s.withdrawn = 0
  AND (CAST(@river AS TEXT) = '' OR s.river = @river)
  AND (CAST(@grp AS TEXT) = '' OR s.grp = @grp)
  AND (CAST(@stage AS TEXT) = '' OR s.stage = @stage)
  AND s.day >= @from_day AND s.day < @to_day
ORDER BY s.day, s.river, s.grp, s.stage, s.observer, s.id;

-- name: Authors :many
SELECT * FROM author ORDER BY id;

-- name: SetAuthor :exec
INSERT INTO author (id, trust, set_at) VALUES (@id, @trust, @set_at)
ON CONFLICT (id) DO UPDATE SET trust = excluded.trust, set_at = excluded.set_at;

-- name: UseLink :execrows
INSERT INTO used_link (hash, used_at, expires_at) VALUES (@hash, @used_at, @expires_at) ON CONFLICT (hash) DO NOTHING;

-- name: ForgetLinks :execrows
DELETE FROM used_link WHERE expires_at < @before;

-- name: ForgetAuthor :execrows
UPDATE sighting SET observer = '', author = '', notes = '' WHERE author = @author;

-- name: CountByAuthor :one
SELECT COUNT(*) FROM sighting WHERE author = @author AND recorded_at > @since;

-- name: ByAuthor :many
SELECT * FROM sighting s
WHERE s.author = @author AND s.withdrawn = 0
  AND s.revision = (SELECT MAX(n.revision) FROM sighting n WHERE n.id = s.id)
ORDER BY s.day DESC, s.river, s.grp, s.stage;

-- name: ForgetSighting :execrows
UPDATE sighting SET observer = '', author = '', notes = '' WHERE id = @id;

-- name: PutNeighbour :exec
INSERT INTO neighbour (id, rivers, made_at, read_at) VALUES (@id, @rivers, @made_at, @read_at)
ON CONFLICT (id) DO UPDATE SET rivers = excluded.rivers, made_at = excluded.made_at, read_at = excluded.read_at;

-- name: DropNeighbour :execrows
DELETE FROM neighbour WHERE id = @id;

-- name: Neighbours :many
SELECT * FROM neighbour ORDER BY id;
