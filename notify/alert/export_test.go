package alert

import "example.org/eclose/notify/alert/internal/rows"

// peek looks into the database past the killer.
func (s *Store) peek() *rows.Queries { return rows.New(s.db.SQL) }
