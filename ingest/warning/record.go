package warning

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"example.org/eclose/ingest/series"
)

// A Record is what the feed of a river's warnings last said. It is kept in the
// series store, where every process that reads the series can read it.
type Record struct {
	Feed    string    `json:"feed"`
	Tried   time.Time `json:"tried"`             // last attempt
	Fetched time.Time `json:"fetched,omitzero"`  // last whole response; zero: none yet
	Problem string    `json:"problem,omitempty"` // of the last attempt; empty: it succeeded
	List    []Warning `json:"list"`              // of the last whole response
}

// maxAge is how old a response may be for "none" to count: six fetches by
// the slowest default schedule. Our own default.
const maxAge = time.Hour

// Known reports whether the record says at now what is in force. A feed whose
// last answer failed, or is old, is not known to have no warnings.
func (r Record) Known(now time.Time) bool {
	age := now.Sub(r.Fetched)
	return r.Problem == "" && age <= maxAge && age >= -maxAge
}

// InForce returns the warnings in force at now, as far as the last whole
// response tells.
func (r Record) InForce(now time.Time) []Warning { return InForce(r.List, now) }

// Files is where records are kept: series.Files.
type Files interface {
	Read(ctx context.Context, name string, limit int64) ([]byte, error)
	Write(ctx context.Context, name string, data []byte) error
}

const recordLimit = 16 << 20

func fileOf(river string) string { return "warnings/" + river + ".json" }

// Load returns the record of a river. The zero Record: nothing was ever asked,
// or what is kept cannot be understood; then nothing is known.
func Load(ctx context.Context, f Files, river string) (Record, error) {
	b, err := f.Read(ctx, fileOf(river), recordLimit)
	if errors.Is(err, series.ErrNoFile) {
		return Record{}, nil
	}
	if err != nil {
		return Record{}, fmt.Errorf("reading the warnings of %s: %w", river, err)
	}
	var r Record
	var old struct { // a record of before version 0.1 has Fit under another key
		List []struct {
			Fit AreaFit `json:"where"`
		} `json:"list"`
	}
	if json.Unmarshal(b, &r) != nil || json.Unmarshal(b, &old) != nil {
		return Record{}, nil
	}
	for i := range r.List {
		r.List[i].Fit = cmp.Or(r.List[i].Fit, old.List[i].Fit)
	}
	return r, nil
}

// Renewed is what one question to a feed brought.
type Renewed struct {
	Before, Now Record
	Failed      error // of the feed; the warnings of its last whole response then stay in Now
}

// Changed reports whether anybody who knew the record before must look again at
// now: what is in force, or whether it is known.
func (r Renewed) Changed(now time.Time) bool {
	return r.Before.Known(now) != r.Now.Known(now) || len(r.Before.InForce(now))+len(r.Now.InForce(now)) > 0
}

// Renew asks a source about a river and keeps what it said. A feed that fails
// is no error of Renew.
func Renew(ctx context.Context, f Files, river string, s Source, p Place, now func() time.Time) (Renewed, error) {
	before, err := Load(ctx, f, river)
	if err != nil {
		return Renewed{}, err
	}
	r := before
	if r.Feed != s.Name() { // the config names another service now
		r = Record{Feed: s.Name()}
	}
	list, failed := s.Fetch(ctx, p)
	if err := ctx.Err(); err != nil { // we were stopped, the feed did not fail
		return Renewed{}, err
	}
	r.Tried, r.Problem = now(), ""
	if failed != nil {
		r.Problem = failed.Error()
	} else {
		Follow(r.List, list)
		r.Fetched, r.List = r.Tried, list
	}
	b, err := json.Marshal(r)
	if err == nil {
		err = f.Write(ctx, fileOf(river), b)
	}
	if err != nil {
		return Renewed{}, fmt.Errorf("keeping the warnings of %s: %w", river, err)
	}
	return Renewed{before, r, failed}, nil
}
