package series

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"example.org/eclose/ingest"
)

// columns says which columns of a table are wanted. Time and member always are.
type columns uint8

const (
	colValue columns = 1 << iota
	colQualifier
	colApproval
	colFlag
	colTest
	colRetrieved
	allColumns = colValue | colQualifier | colApproval | colFlag | colTest | colRetrieved
)

// table is some rows of a bundle, sorted by member, time and retrieval. Columns
// that were not asked for are nil; so is member where there is no ensemble.
type table struct {
	member    []int32
	time      []int64
	value     []float64
	qualifier []string
	approval  []ingest.Approval
	flag      []ingest.Flag
	test      []string
	retrieved []int64
}

func (t *table) len() int { return len(t.time) }

func (t *table) memberAt(i int) int32 {
	if t.member == nil {
		return 0
	}
	return t.member[i]
}

// take appends row i of u, which has all columns.
func (t *table) take(u *table, i int) {
	if u.member != nil {
		t.member = append(t.member, u.member[i])
	}
	t.time = append(t.time, u.time[i])
	t.value = append(t.value, u.value[i])
	t.qualifier = append(t.qualifier, u.qualifier[i])
	t.approval = append(t.approval, u.approval[i])
	t.flag = append(t.flag, u.flag[i])
	t.test = append(t.test, u.test[i])
	t.retrieved = append(t.retrieved, u.retrieved[i])
}

// grow makes room for n more rows.
func (t *table) grow(n int, ensemble bool) {
	if ensemble {
		t.member = slices.Grow(t.member, n)
	}
	t.time = slices.Grow(t.time, n)
	t.value = slices.Grow(t.value, n)
	t.qualifier = slices.Grow(t.qualifier, n)
	t.approval = slices.Grow(t.approval, n)
	t.flag = slices.Grow(t.flag, n)
	t.test = slices.Grow(t.test, n)
	t.retrieved = slices.Grow(t.retrieved, n)
}

// slice is the rows [a, b), sharing memory. Its capacity ends at b, so that
// appending to it cannot write over what follows.
func (t *table) slice(a, b int) table {
	return table{cut(t.member, a, b), cut(t.time, a, b), cut(t.value, a, b), cut(t.qualifier, a, b),
		cut(t.approval, a, b), cut(t.flag, a, b), cut(t.test, a, b), cut(t.retrieved, a, b)}
}

func cut[T any](col []T, a, b int) []T {
	if col == nil {
		return nil
	}
	return col[a:b:b]
}

// append adds all rows of u, which has the same columns.
func (t *table) append(u *table) {
	t.member = append(t.member, u.member...)
	t.time = append(t.time, u.time...)
	t.value = append(t.value, u.value...)
	t.qualifier = append(t.qualifier, u.qualifier...)
	t.approval = append(t.approval, u.approval...)
	t.flag = append(t.flag, u.flag...)
	t.test = append(t.test, u.test...)
	t.retrieved = append(t.retrieved, u.retrieved...)
}

// ofMember finds the rows of one member.
func (t *table) ofMember(member int) (a, b int) {
	if t.member == nil {
		if member != 0 {
			return 0, 0
		}
		return 0, t.len()
	}
	a, _ = slices.BinarySearch(t.member, int32(member))
	b, _ = slices.BinarySearch(t.member, int32(member)+1)
	return a, b
}

// within finds the rows of a table of one member with from <= time < to.
func (t *table) within(from, to int64) (a, b int) {
	a, _ = slices.BinarySearch(t.time, from)
	b, _ = slices.BinarySearch(t.time, to)
	return a, max(a, b)
}

// before orders two rows by member and time only.
func before(t *table, i int, u *table, j int) int {
	return cmp.Or(cmp.Compare(t.memberAt(i), u.memberAt(j)), cmp.Compare(t.time[i], u.time[j]))
}

// sameReading says whether two rows tell the same: value, qualifier, approval.
func sameReading(t *table, i int, u *table, j int) bool {
	return sameValue(t.value[i], u.value[j]) && t.qualifier[i] == u.qualifier[j] && t.approval[i] == u.approval[j]
}

func sameValue(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// versions sorts rows by member, time and retrieval; of rows that agree in all
// three the last one stays.
func (t *table) versions() table {
	order := make([]int, t.len())
	for i := range order {
		order[i] = i
	}
	compare := func(i, j int) int {
		return cmp.Or(before(t, i, t, j), cmp.Compare(t.retrieved[i], t.retrieved[j]))
	}
	if !slices.IsSortedFunc(order, compare) {
		sort.SliceStable(order, func(a, b int) bool { return compare(order[a], order[b]) < 0 })
	}
	var out table
	out.grow(t.len(), t.member != nil)
	for k, i := range order {
		if k+1 < len(order) && compare(i, order[k+1]) == 0 {
			continue
		}
		out.take(t, i)
	}
	return out
}

// tableOf lays out a series as rows retrieved at one time. The columns of s are
// shared where they can be.
func tableOf(s *ingest.Series, retrieved int64) table {
	n := s.Len()
	t := table{time: s.Time, value: s.Value, qualifier: s.Qualifier, approval: s.Approval, test: s.FlagTest}
	if s.Member != 0 {
		t.member = make([]int32, n)
		for i := range t.member {
			t.member[i] = int32(s.Member)
		}
	}
	var blank []string // never written to
	if len(t.qualifier) == 0 || len(t.test) == 0 {
		blank = make([]string, n)
	}
	if len(t.qualifier) == 0 {
		t.qualifier = blank
	}
	if len(t.approval) == 0 {
		t.approval = make([]ingest.Approval, n)
	}
	if len(t.test) == 0 {
		t.test = blank
	}
	t.flag = make([]ingest.Flag, n)
	for i := range t.flag {
		if len(s.Flag) > 0 {
			t.flag[i] = s.Flag[i]
		}
		t.flag[i] = honestFlag(t.flag[i], t.value[i])
	}
	t.retrieved = make([]int64, n)
	for i := range t.retrieved {
		t.retrieved[i] = retrieved
	}
	return t
}

// honestFlag makes missing exactly the flag of a reading without a value, and
// "not evaluated" the flag of one that nobody looked at.
func honestFlag(f ingest.Flag, value float64) ingest.Flag {
	switch {
	case math.IsNaN(value):
		return ingest.Missing
	case f == ingest.Pass || f == ingest.Suspect || f == ingest.Fail:
		return f
	}
	return ingest.NotEvaluated
}
