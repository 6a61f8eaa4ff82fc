package ingest

import (
	"slices"
	"time"
)

// Between is the part of s in [from, to); a zero bound is no bound. A daily
// reading belongs to the span if its date's 00:00 UTC is not before from's
// date. The columns are shared with s, not copied.
func (s Series) Between(from, to time.Time) Series {
	i, j := 0, s.Len()
	if !from.IsZero() {
		if s.Period == Daily {
			from = from.UTC().Truncate(24 * time.Hour)
		}
		i, _ = slices.BinarySearch(s.Time, from.UnixMicro())
	}
	if !to.IsZero() {
		j, _ = slices.BinarySearch(s.Time, to.UnixMicro())
	}
	j = max(i, j)
	s.Time, s.Value = s.Time[i:j], s.Value[i:j]
	s.Qualifier, s.Approval = cut(s.Qualifier, i, j), cut(s.Approval, i, j)
	s.Flag, s.FlagTest, s.Retrieved = cut(s.Flag, i, j), cut(s.FlagTest, i, j), cut(s.Retrieved, i, j)
	return s
}

func cut[T any](col []T, i, j int) []T {
	if col == nil {
		return nil
	}
	return col[i:j]
}
