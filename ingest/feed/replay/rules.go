package replay

import (
	"bytes"
	"errors"
	"math"
	"testing"

	"example.org/eclose/ingest"
)

// KeepsTheRules reads b with a parser and holds what it does to the rules of
// every parser: whatever the bytes, either series that are in order and whole,
// or one *ingest.Error and no series.
func KeepsTheRules(t *testing.T, p ingest.Parser, b []byte) {
	t.Helper()
	list, err := p.Parse(bytes.NewReader(b))
	if err != nil {
		if e := (*ingest.Error)(nil); !errors.As(err, &e) {
			t.Fatalf("the error %T %v is no *ingest.Error", err, err)
		}
		if list != nil {
			t.Fatalf("%d series beside the error %v", len(list), err)
		}
	}
	for i := range list {
		if err := list[i].Check(); err != nil {
			t.Fatal(err)
		}
	}
}

// KeepsTheRulesOfLists holds what a reader of a list of gauges made of any
// bytes to the rules of every list: gauges with a site and a variable that the
// package ingest knows, or one *ingest.Error and no gauge.
func KeepsTheRulesOfLists(t *testing.T, list []ingest.Gauge, err error) {
	t.Helper()
	if e := (*ingest.Error)(nil); err != nil && (!errors.As(err, &e) || list != nil) {
		t.Fatalf("%d gauges beside the error %T %v", len(list), err, err)
	}
	for _, g := range list {
		if g.Feed == "" || g.Site == "" || math.IsInf(g.Lat, 0) || math.IsInf(g.Lon, 0) {
			t.Fatalf("a gauge %+v", g)
		}
		for _, s := range g.Series {
			if s.Variable.Unit() == "" || s.Statistic == "" {
				t.Fatalf("%s: a series %+v", g.Site, s)
			}
		}
	}
}
