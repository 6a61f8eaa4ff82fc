package series

import (
	"bytes"
	"encoding/csv"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/eclose/ingest"
)

func TestAnExportHoldsWhatAReadGives(t *testing.T) {
	backends(t, func(t *testing.T, open func() *Store) {
		s := open()
		one := regular(wendTemperature, day(2025, 12, 31).Add(22*time.Hour), time.Hour, 4.25, math.NaN(), 3)
		one.Qualifier = []string{"", "ice, \"thick\"", ""}
		one.Approval = []ingest.Approval{ingest.Approved, ingest.Provisional, ingest.ApprovalUnknown}
		mustPut(t, s, one, day(2026, 1, 2))
		members := ensemble(day(2026, 1, 30), 60, 3, 1)
		if _, err := s.PutAll(t.Context(), members, day(2026, 1, 30)); err != nil {
			t.Fatal(err)
		}

		var text bytes.Buffer
		if err := s.ExportCSV(t.Context(), &text, wendTemperature, Query{}); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&text).ReadAll()
		want := [][]string{
			{"time", "value", "unit", "qualifier", "approval", "flag", "flag_test", "retrieved"},
			{"2025-12-31T22:00:00Z", "4.25", "°C", "", "approved", "2", "", "2026-01-02T00:00:00Z"},
			{"2025-12-31T23:00:00Z", "", "°C", `ice, "thick"`, "provisional", "9", "", "2026-01-02T00:00:00Z"},
			{"2026-01-01T00:00:00Z", "3", "°C", "", "unknown", "2", "", "2026-01-02T00:00:00Z"},
		}
		if diff := cmp.Diff(want, rows); diff != "" || err != nil {
			t.Errorf("CSV %v (-want +got):\n%s", err, diff)
		}

		for _, key := range []ingest.Key{wendTemperature, members[1].Key} {
			var file bytes.Buffer
			if err := s.ExportParquet(t.Context(), &file, key, Query{}); err != nil {
				t.Fatal(err)
			}
			got, err := decode(file.Bytes(), allColumns, wanted{all: true})
			if err != nil {
				t.Fatal(err)
			}
			read := mustRead(t, s, key, Query{})
			if diff := cmp.Diff(read.Time, got.time) + cmp.Diff(read.Value, got.value, nanEqual) + cmp.Diff(read.Qualifier, got.qualifier) + cmp.Diff(read.Approval, got.approval); diff != "" {
				t.Errorf("Parquet of %s (-read +export):\n%s", key, diff)
			}
		}
	})
}

func TestTheAvailabilityChartShowsGapsByMonth(t *testing.T) {
	s := newMemStore()
	key := wendTemperature
	key.Period, key.Statistic = ingest.Daily, ingest.Mean
	one := regular(key, day(2024, 11, 1), 24*time.Hour, make([]float64, 30+31+31+28+31+30)...)
	for i := range one.Value {
		switch d := one.At(i); {
		case d.Month() == time.December, d.Month() == time.January && d.Day() > 3, d.Month() == time.March && d.Day() > 20:
			one.Value[i] = math.NaN()
		}
	}
	mustPut(t, s, one, day(2025, 5, 1))
	a, err := s.Availability(t.Context(), key)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := a.WriteChart(&b); err != nil {
		t.Fatal(err)
	}
	want := "        J F M A M J J A S O N D   days\n" +
		"  2024                      █ ·   30 of  61\n" +
		"  2025  ░ █ ▒ █                   81 of 120\n" + shadeLegend
	if b.String() != want {
		t.Errorf("chart:\n%swant:\n%s", b.String(), want)
	}
}
