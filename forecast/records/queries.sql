-- name: Record :one
SELECT * FROM open_record WHERE id = @id;

-- name: PutRecord :exec
INSERT INTO open_record (id, source, name, grp, stage, why, region, day, last_day, lat, lon, uncertainty_m, elevation_m,
    obscured, absent, individuals, effort_hours, event, observer, licence, credit, published_at, stored_at, withheld)
VALUES (@id, @source, @name, @grp, @stage, @why, @region, @day, @last_day, @lat, @lon, @uncertainty_m, @elevation_m,
    @obscured, @absent, @individuals, @effort_hours, @event, @observer, @licence, @credit, @published_at, @stored_at, 0)
ON CONFLICT (id) DO UPDATE SET source = excluded.source, name = excluded.name, grp = excluded.grp, stage = excluded.stage,
    why = excluded.why, region = excluded.region, day = excluded.day, last_day = excluded.last_day, lat = excluded.lat,
    lon = excluded.lon, uncertainty_m = excluded.uncertainty_m, elevation_m = excluded.elevation_m,
    obscured = excluded.obscured, absent = excluded.absent, individuals = excluded.individuals,
    effort_hours = excluded.effort_hours, event = excluded.event, observer = excluded.observer,
    licence = excluded.licence, credit = excluded.credit, published_at = excluded.published_at;

-- name: Records :many
SELECT * FROM open_record
WHERE lat >= @south AND lat <= @north AND day >= @from_day AND day < @to_day
  AND (CAST(@grp AS TEXT) = '' OR grp = @grp)
  AND (CAST(@region AS TEXT) = '' OR region = @region)
ORDER BY day, id;

-- name: Withhold :execrows
UPDATE open_record SET withheld = @withheld WHERE id = @id;

-- name: Cursor :one
SELECT * FROM open_cursor WHERE source = @source AND place = @place;

-- name: PutCursor :exec
INSERT INTO open_cursor (source, place, last_id, fetched_at) VALUES (@source, @place, @last_id, @fetched_at)
ON CONFLICT (source, place) DO UPDATE SET last_id = excluded.last_id, fetched_at = excluded.fetched_at;

-- name: PutEffort :exec
INSERT INTO open_effort (source, place, day, n) VALUES (@source, @place, @day, @n)
ON CONFLICT (source, place, day) DO UPDATE SET n = excluded.n;

-- name: Efforts :many
SELECT day, CAST(SUM(n) AS BIGINT) AS n FROM open_effort WHERE place = @place GROUP BY day ORDER BY day;
