package alert

import "example.org/eclose/notify/alert/internal/sqlc"

// peek looks into the database past the killer.
func (s *Store) peek() *sqlc.Queries { return sqlc.New(s.db.SQL) }
