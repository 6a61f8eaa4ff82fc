package series

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"example.org/eclose/ingest"
)

// The three folders of a store.
const (
	indexFolder = "index"
	dataFolder  = "data"
	pastFolder  = "past"
)

// index says which files hold the readings of one bundle. It is written anew,
// under the next generation number, at every change.
type index struct {
	Format     int    `json:"format"`
	Generation int64  `json:"generation"`
	Bundle     bundle `json:"bundle"`
	Place      place  `json:"place"`
	SourceUnit string `json:"source_unit,omitempty"`
	DayStart   string `json:"day_start,omitempty"`
	Parts      []part `json:"parts"`
}

// indexFormat is the version of this layout; a store of a later one is refused.
// Version 1 has the bundle under another key.
const indexFormat = 2

// maxIndexBytes bounds what is read as an index: some 300,000 files.
const maxIndexBytes = 64 << 20

// part is one Parquet file.
type part struct {
	Name           string `json:"name"`
	Span           string `json:"span"`
	Past           bool   `json:"past,omitempty"`
	Rows           int    `json:"rows"`
	Bytes          int64  `json:"bytes"`
	SHA256         string `json:"sha256"`
	First          int64  `json:"first"` // earliest and latest time, µs since 1970 UTC
	Last           int64  `json:"last"`
	RetrievedFirst int64  `json:"retrieved_first"`
	RetrievedLast  int64  `json:"retrieved_last"`
	Members        []run  `json:"members"`
}

// run is a stretch of members that have the same number of rows over the same
// time, as the members of an ensemble mostly do.
type run struct {
	From  int   `json:"from"`
	To    int   `json:"to"`
	Rows  int   `json:"rows"` // of each
	First int64 `json:"first"`
	Last  int64 `json:"last"`
}

// of finds the run that holds a member.
func (p *part) of(member int) (run, bool) {
	for _, r := range p.Members {
		if member >= r.From && member <= r.To {
			return r, true
		}
	}
	return run{}, false
}

// place is ingest.SiteInfo without NaN, which JSON cannot say.
type place struct {
	Name      string   `json:"name,omitempty"`
	Lat       *float64 `json:"lat,omitempty"`
	Lon       *float64 `json:"lon,omitempty"`
	Elevation *float64 `json:"elevation_m,omitempty"`
	Drainage  float64  `json:"drainage_km2,omitempty"`
	Zone      string   `json:"zone,omitempty"`
}

func placeOf(p ingest.SiteInfo) place {
	known := func(x float64) *float64 {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil
		}
		return &x
	}
	return place{p.Name, known(p.Lat), known(p.Lon), known(p.Elevation), p.Drainage, p.Zone}
}

func (p place) ingest() ingest.SiteInfo {
	value := func(x *float64) float64 {
		if x == nil {
			return math.NaN()
		}
		return *x
	}
	return ingest.SiteInfo{Name: p.Name, Lat: value(p.Lat), Lon: value(p.Lon), Elevation: value(p.Elevation), Drainage: p.Drainage, Zone: p.Zone}
}

func (p place) equal(q place) bool {
	same := func(a, b *float64) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }
	return p.Name == q.Name && p.Zone == q.Zone && same(p.Lat, q.Lat) && same(p.Lon, q.Lon) && same(p.Elevation, q.Elevation) && p.Drainage == q.Drainage
}

// sealed is an index as it lies in the store: the text and its hash.
type sealed struct {
	SHA256 string          `json:"sha256"`
	Index  json.RawMessage `json:"index"`
}

func encodeIndex(x *index) ([]byte, error) {
	body, err := json.Marshal(x)
	if err != nil {
		return nil, err
	}
	return json.Marshal(sealed{hashOf(body), body})
}

// decodeIndex checks the hash before it uses the text.
func decodeIndex(data []byte) (*index, error) {
	var s sealed
	if err := json.Unmarshal(data, &s); err != nil {
		return nil, fmt.Errorf("it is not whole: %w", err)
	}
	if hashOf(s.Index) != s.SHA256 {
		return nil, errors.New("its checksum does not fit its text")
	}
	if again, err := json.Marshal(s); err != nil || !bytes.Equal(again, data) {
		return nil, errors.New("its text is not as it was written")
	}
	var x index
	if err := json.Unmarshal(s.Index, &x); err != nil {
		return nil, fmt.Errorf("it is not an index: %w", err)
	}
	if x.Format == 1 {
		var old struct {
			Bundle bundle `json:"shelf"`
		}
		if err := json.Unmarshal(s.Index, &old); err != nil {
			return nil, fmt.Errorf("it is not an index: %w", err)
		}
		x.Format, x.Bundle = indexFormat, old.Bundle
	}
	if x.Format != indexFormat {
		return nil, fmt.Errorf("it has format %d, this program knows format %d", x.Format, indexFormat)
	}
	return &x, nil
}

func hashOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

func indexName(bundlePath string, generation int64) string {
	return fmt.Sprintf("%s/%s/%09d.json", indexFolder, bundlePath, generation)
}

// generationOf reads the number out of the name of an index file.
func generationOf(name string) (int64, bool) {
	base, ok := strings.CutSuffix(path.Base(name), ".json")
	if !ok {
		return 0, false
	}
	g, err := strconv.ParseInt(base, 10, 64)
	return g, err == nil && g > 0
}

// errNoIndex says that nothing was ever stored on a bundle.
var errNoIndex = errors.New("nothing stored")

// loadIndex finds and reads the newest index of a bundle.
func (s *Store) loadIndex(ctx context.Context, bundlePath string) (*index, error) {
	if x := s.cached(bundlePath); x != nil {
		return x, nil
	}
	const tries = 5
	for range tries {
		newest, err := s.newestGeneration(ctx, bundlePath)
		if err != nil {
			return nil, err
		}
		if newest == 0 {
			return nil, errNoIndex
		}
		name := indexName(bundlePath, newest)
		data, err := s.bucket.read(ctx, name, maxIndexBytes)
		if errors.Is(err, fs.ErrNotExist) {
			continue // replaced by the next generation since it was listed
		}
		if errors.Is(err, errTooLong) {
			return nil, &DamagedError{File: s.locate(name), Problem: "it is far too long", bundle: bundlePath}
		}
		if err != nil {
			return nil, fmt.Errorf("reading index %s: %w", s.locate(name), err)
		}
		x, err := decodeIndex(data)
		if err == nil && (x.Bundle.path() != bundlePath || x.Generation != newest) {
			err = fmt.Errorf("it belongs to %s, generation %d", x.Bundle.path(), x.Generation)
		}
		if err != nil {
			return nil, &DamagedError{File: s.locate(name), Problem: err.Error(), bundle: bundlePath}
		}
		s.remember(bundlePath, x)
		return x, nil
	}
	return nil, fmt.Errorf("reading the index of %s: it was replaced %d times while it was read", bundlePath, tries)
}

// newestGeneration lists a bundle's index folder; 0 means that it is empty.
func (s *Store) newestGeneration(ctx context.Context, bundlePath string) (newest int64, err error) {
	folder := indexFolder + "/" + bundlePath
	err = s.bucket.list(ctx, folder, func(o object) error {
		if path.Dir(o.name) == folder {
			if g, ok := generationOf(o.name); ok {
				newest = max(newest, g)
			}
		}
		return nil
	})
	if err != nil {
		return 0, fmt.Errorf("finding the index of %s: %w", bundlePath, err)
	}
	return newest, nil
}

// bundles lists the paths of all bundles whose index lies under a folder, sorted.
func (s *Store) bundles(ctx context.Context, folder string) ([]string, error) {
	found := map[string]bool{}
	err := s.bucket.list(ctx, folder, func(o object) error {
		if _, ok := generationOf(o.name); ok {
			found[strings.TrimPrefix(path.Dir(o.name), indexFolder+"/")] = true
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("listing the series of store %s: %w", s.url, err)
	}
	paths := make([]string, 0, len(found))
	for p := range found {
		paths = append(paths, p)
	}
	slices.Sort(paths)
	return paths, nil
}

// cached returns the newest index without asking the bucket. Only the holder
// of the writer's lock may do so: nobody else can have written one since.
func (s *Store) cached(bundlePath string) *index {
	if !s.sole {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.indexes[bundlePath]
}

func (s *Store) remember(bundlePath string, x *index) {
	if !s.sole {
		return
	}
	s.mu.Lock()
	s.indexes[bundlePath] = x
	s.mu.Unlock()
}
