package rivers

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/export"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/phenology"
)

// Outcome is a whole backtest.
type Outcome struct {
	First, Last  int
	Leads        []int
	Every        int
	Members      int
	ModelVersion string
	BySightings  bool
	Issued       bool    // judged are the outlooks as issued, not such as were made anew
	Shards       []Shard // by river, then season
	Resumed      int     // of them found from an earlier run
}

// shardVersion changes whenever the same slice would hold other numbers.
const shardVersion = "2"

// GCPercent is how much a program that does nothing but a backtest may let its
// heap grow between collections (debug.SetGCPercent): what lives is some tens of
// megabytes, and to collect it often took a seventh of the time.
const GCPercent = 400

// Run computes all slices of a plan, or finds them where an earlier run has left
// them. What it returns does not depend on the number of workers or on what was
// found.
func Run(ctx context.Context, plan Plan, src Source) (*Outcome, error) {
	if err := plan.Check(); err != nil {
		return nil, fmt.Errorf("planning a backtest: %w", err)
	}
	plan.Open = plan.Open.MadeAnew() // one for all, which keeps its fits
	if plan.Dir != "" {
		if err := os.MkdirAll(plan.Dir, 0o755); err != nil {
			return nil, fmt.Errorf("making the folder of finished slices: %w", err)
		}
	}
	out := &Outcome{First: plan.First, Last: plan.Last, Leads: plan.Leads, Every: plan.Every, Members: plan.Members,
		ModelVersion: forecast.ModelVersion, BySightings: len(plan.Sightings) > 0}
	seasons := plan.Last - plan.First + 1
	out.Shards = make([]Shard, len(plan.Rivers)*seasons)
	var mu sync.Mutex
	done := 0
	finished := func(resumed bool) {
		mu.Lock()
		defer mu.Unlock()
		done++
		if resumed {
			out.Resumed++
		}
		if plan.Done != nil {
			plan.Done(done, len(out.Shards))
		}
	}
	// What is known of a river is gathered once and let go when its seasons are
	// done: memory is that of a few rivers.
	known := make([]river, len(plan.Rivers))
	for i, r := range plan.Rivers {
		known[i] = river{r: r, left: seasons}
	}
	g, ctx := errgroup.WithContext(ctx)
	next := make(chan int)
	g.Go(func() error {
		defer close(next)
		for i := range out.Shards {
			select {
			case next <- i:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	for range plan.Workers {
		g.Go(func() error {
			is := new(forecast.Issuer)
			for i := range next {
				k := &known[i/seasons]
				rec, sum, err := k.whole(ctx, src, plan.Catalogue)
				if err != nil {
					return err
				}
				s := &hindcast{plan: &plan, src: src, river: k.r, year: plan.First + i%seasons, whole: rec, is: is, out: &out.Shards[i]}
				resumed, err := s.computeOrFind(ctx, sum)
				if err != nil {
					return fmt.Errorf("season %d of %s: %w", s.year, k.r.Name, err)
				}
				k.done()
				finished(resumed)
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	return out, nil
}

// river is what is known of a river while its seasons are computed.
type river struct {
	r    forecast.River
	mu   sync.Mutex
	got  bool
	rec  forecast.Record
	sum  string
	err  error
	left int
}

func (k *river) whole(ctx context.Context, src Source, c *insects.Catalogue) (forecast.Record, string, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if !k.got {
		k.got = true
		if k.rec, k.err = src.Whole(ctx, k.r); k.err == nil {
			k.sum = digest(k.rec, k.r, c)
		}
	}
	return k.rec, k.sum, k.err
}

func (k *river) done() {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.left--; k.left == 0 {
		k.rec = forecast.Record{}
	}
}

// digest is a sum of all that a record says, and the catalogue of its region.
func digest(rec forecast.Record, r forecast.River, c *insects.Catalogue) string {
	h := sha256.New()
	region := insects.Region(r.Region)
	if r.Region == "" {
		region, _ = insects.RegionOf(r.Lat, r.Lon)
	}
	for _, g := range c.Groups() {
		p, ok := phenology.FromGroup(&g, region)
		fmt.Fprintf(h, "%s %v %+v\n", g.Key, ok, p)
	}
	fmt.Fprintln(h, rec.Day0, rec.Issue)
	for _, c := range [][]float64{rec.Air, rec.Water, rec.WaterMax, rec.WaterMin, rec.Flow} {
		writeFloats(h, c)
	}
	return hex.EncodeToString(h.Sum(nil))
}

func writeFloats(h hash.Hash, v []float64) {
	b := make([]byte, 0, 8*len(v)+8)
	b = binary.LittleEndian.AppendUint64(b, uint64(len(v)))
	for _, x := range v {
		if math.IsNaN(x) {
			x = math.NaN() // one of the many
		}
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
	}
	h.Write(b)
}

// key names a slice by all that it depends on.
func (s *hindcast) key(record string) (string, error) {
	h := sha256.New()
	p := s.plan
	// The diary up to the end of the season is in the fit, too.
	mine := slices.DeleteFunc(p.diary(), func(x forecast.Sighting) bool { return x.Day.Time().Year() > s.year })
	end := min(p.Now.Unix(), noon(s.river, date(s.year, 12, 31)).Unix())
	all := []any{shardVersion, forecast.ModelVersion, s.river, s.year, p.Leads, p.Every, p.Members,
		len(p.Sightings) > 0, mine, end / 86400, record, p.Without, p.Sites}
	if p.Open != nil {
		all = append(all, p.Open)
	}
	if err := json.NewEncoder(h).Encode(all); err != nil {
		return "", fmt.Errorf("naming the slice: %w", err)
	}
	return hex.EncodeToString(h.Sum(nil)[:16]), nil
}

// computeOrFind fills the slice; it says whether an earlier run had left it.
func (s *hindcast) computeOrFind(ctx context.Context, record string) (bool, error) {
	key, err := s.key(record)
	if err != nil {
		return false, err
	}
	path := filepath.Join(s.plan.Dir, fmt.Sprintf("%s-%d-%s.json", s.river.Slug, s.year, key))
	if s.plan.Dir != "" {
		if found, err := s.find(path, key); err != nil || found {
			return found, err
		}
	}
	*s.out = Shard{Key: key, River: s.river.Slug, Season: s.year}
	if !s.plan.Now.After(noon(s.river, date(s.year, 12, 31))) && len(s.plan.Sightings) == 0 {
		s.out.Skipped = "the season is not over and has no sightings to score against"
	} else if err := s.run(ctx); err != nil {
		return false, err
	}
	if s.plan.Dir == "" {
		return false, nil
	}
	return false, export.File(path, func(w io.Writer) error { return json.NewEncoder(w).Encode(s.out.wire()) })
}

func (s *hindcast) find(path, key string) (bool, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("reading a finished slice: %w", err)
	}
	var w wire
	if json.Unmarshal(b, &w) != nil || w.Key != key {
		return false, nil // not ours, or damaged: it is computed again
	}
	*s.out = w.shard()
	return true, nil
}

// wire is a slice as JSON, which has no NaN.
type wire struct {
	Shard
	LastUnknown []int // indices of cases without a date of last year
}

func (s *Shard) wire() wire {
	w := wire{Shard: *s}
	w.Cases = append([]Case(nil), s.Cases...)
	for i := range w.Cases {
		if math.IsNaN(w.Cases[i].Last) {
			w.Cases[i].Last = 0
			w.LastUnknown = append(w.LastUnknown, i)
		}
	}
	return w
}

func (w wire) shard() Shard {
	for _, i := range w.LastUnknown {
		if i < len(w.Cases) {
			w.Cases[i].Last = math.NaN()
		}
	}
	return w.Shard
}
