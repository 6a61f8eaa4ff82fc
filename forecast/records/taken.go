package records

import (
	"context"
	"maps"
	"slices"
	"sort"

	"example.org/eclose/ingest/occurrence"
)

// Count is how many records share something.
type Count struct {
	What string `json:"what"`
	N    int    `json:"n"`
}

// Taken says what an import or a fetch did with its records.
type Taken struct {
	Read       int `json:"read"`
	Taken      int `json:"taken"`       // stand for a group; of them
	Added      int `json:"added"`       // new
	Changed    int `json:"changed"`     // seen before, otherwise
	Same       int `json:"same"`        // seen before, alike
	Elsewhere  int `json:"elsewhere"`   // there already from another source
	Twice      int `json:"twice"`       // twice in this file or answer
	EffortOnly int `json:"effort_only"` // kept as a measure of how much people looked

	Groups     []Count `json:"groups"`
	LeftOut    []Count `json:"left_out"`   // by reason
	Unresolved []Count `json:"unresolved"` // names not in the catalogue, or ambiguous
	Licences   []Count `json:"licences"`   // of those taken
}

// Taker judges records and keeps those that are worth it, batch by batch, so
// that memory does not grow with their number.
type Taker struct {
	Judge *Judge
	Store *Store // nil: nothing is kept, as in a dry run
	// Each is called for every record with its result; may be nil.
	Each func(Judged)

	taken                            Taken
	groups, reasons, names, licences map[string]int
	seen                             map[string]struct{}
	batch                            []Judged
}

// batchSize is how many records go into one transaction.
const batchSize = 500

// Take judges one record and keeps it with a later batch.
func (t *Taker) Take(ctx context.Context, r occurrence.Record) error {
	if t.seen == nil {
		t.seen = map[string]struct{}{}
		t.groups, t.reasons, t.names, t.licences = map[string]int{}, map[string]int{}, map[string]int{}, map[string]int{}
	}
	t.taken.Read++
	j := t.Judge.Judge(r)
	if _, twice := t.seen[j.Key]; twice && j.Key != "" {
		t.taken.Twice++
		return nil
	}
	t.seen[j.Key] = struct{}{}
	if t.Each != nil {
		t.Each(j)
	}
	switch j.Why {
	case "":
		t.taken.Taken++
		t.groups[j.Group]++
		t.licences[string(j.Licence)]++
	case UnknownName, Ambiguous:
		t.names[j.Name]++
		fallthrough
	default:
		t.reasons[string(j.Why)]++
		if j.Why.refused() {
			return nil
		}
		t.taken.EffortOnly++
	}
	if t.batch = append(t.batch, j); len(t.batch) < batchSize {
		return nil
	}
	return t.Flush(ctx)
}

// Flush keeps what waits.
func (t *Taker) Flush(ctx context.Context) error {
	batch := t.batch
	t.batch = t.batch[:0]
	if t.Store == nil || len(batch) == 0 {
		return nil
	}
	kept, err := t.Store.Put(ctx, batch)
	if err != nil {
		return err
	}
	for i, k := range kept {
		if batch[i].Why != "" {
			continue
		}
		switch k {
		case Added:
			t.taken.Added++
		case Changed:
			t.taken.Changed++
		case Same:
			t.taken.Same++
		case Elsewhere:
			t.taken.Elsewhere++
		}
	}
	return nil
}

// Result sums up what was done.
func (t *Taker) Result() Taken {
	t.taken.Groups, t.taken.LeftOut, t.taken.Unresolved, t.taken.Licences = counts(t.groups), counts(t.reasons), counts(t.names), counts(t.licences)
	return t.taken
}

// counts lists the most frequent first.
func counts(m map[string]int) []Count {
	out := []Count{}
	for _, k := range slices.Sorted(maps.Keys(m)) {
		out = append(out, Count{k, m[k]})
	}
	sort.SliceStable(out, func(i, j int) bool { return out[j].N < out[i].N })
	return out
}
