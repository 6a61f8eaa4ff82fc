package records

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/feed/replay"
	"example.org/eclose/ingest/occurrence"
	"example.org/eclose/model/civil"
	"example.org/eclose/model/flight"
	"example.org/eclose/model/insects"
)

// rows reads a table under its header.
func rows(t *testing.T, folder, name string) (out []map[string]string) {
	t.Helper()
	f, err := os.Open(replay.Shared(t, "emergence", folder, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	in := io.Reader(f)
	if strings.HasSuffix(name, ".gz") {
		if in, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	all, err := csv.NewReader(in).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range all[1:] {
		row := map[string]string{}
		for i, h := range all[0] {
			row[h] = line[i]
		}
		out = append(out, row)
	}
	return out
}

// The light and sticky traps of the Colorado basin (US Geological Survey), written as
// a Darwin Core archive of events with their effort and absences, read back, judged
// and kept, give the windows that their own table gives.
func TestTrapsAsDarwinCoreGiveTheWindowsOfTheirOwnTable(t *testing.T) {
	for _, x := range []trapTable{
		{"gcmrc-light-traps", "samples.csv", "aquatic-counts.csv", "hours", 1, "light trap", 3},
		{"gcmrc-sticky-traps", "samples.csv.gz", "counts.csv.gz", "days_exposed", 24, "sticky trap", 2},
	} {
		t.Run(x.protocol, func(t *testing.T) { sameWindows(t, x) })
	}
}

// trapTable names a table of traps: its files, its column of effort and how many
// hours that counts, and of how many samples one is taken, on both sides.
type trapTable struct {
	folder, samples, counts, effort string
	hours                           float64
	protocol                        string
	oneOf                           int
}

func sameWindows(t *testing.T, table trapTable) {
	c := judge(t).Catalogue
	group := map[string]string{} // of a species code
	name := map[string]string{}
	for _, x := range rows(t, "gcmrc-light-traps", "taxa.csv") {
		n := x["genus"]
		if x["species"] != "" {
			n += " " + x["species"]
		}
		if g := c.Scientific(n, insects.Rockies); n != "" && len(g) == 1 {
			group[x["species_id"]], name[x["species_id"]] = g[0].Key, n
		}
	}
	caught := map[string]map[string]float64{}
	for _, x := range rows(t, table.folder, table.counts) {
		n, err := strconv.ParseFloat(x["count"], 64)
		if err == nil && group[x["species_id"]] != "" && n > 0 {
			if caught[x["sample"]] == nil {
				caught[x["sample"]] = map[string]float64{}
			}
			caught[x["sample"]][x["species_id"]] += n
		}
	}
	var hours [flight.Year]float64
	days := map[string][]flight.Record{}
	var list []occurrence.Record
	for i, x := range rows(t, table.folder, table.samples) {
		if i%table.oneOf > 0 {
			continue
		}
		d, err := time.Parse(time.DateOnly, x["date"])
		h, herr := strconv.ParseFloat(x[table.effort], 64)
		h *= table.hours
		if err != nil || herr != nil || !(h > 0 && h <= 24) || x["flag_delete"] == "1" || x["has_specimen_rows"] != "1" {
			continue
		}
		hours[d.YearDay()-1] += h
		for id := range name {
			n, seen := caught[x["sample"]][id]
			if seen {
				days[group[id]] = append(days[group[id]], flight.Record{Day: d.YearDay(), Year: d.Year(), North: 36.1 - insects.Rockies.Place().LatDeg})
			}
			r := occurrence.New(occurrence.SourceName)
			r.Key, r.Event, r.Name, r.Rank = "urn:traps:"+x["sample"]+":"+id, x["sample"], name[id], "genus"
			r.Start, r.End, r.LatDeg, r.LonDeg, r.Stage, r.Licence = d, d, 36.1, -112, occurrence.Adult, occurrence.CC0
			r.EffortHours, r.Effort, r.Protocol, r.Count, r.Absent = h, fmt.Sprintf("%g hours", h), table.protocol, n, !seen
			if seen || id < "B" { // absences of some taxa are enough to show that they are none
				list = append(list, r)
			}
		}
	}
	var file bytes.Buffer
	if err := occurrence.WriteArchive(&file, occurrence.About{Title: "Traps", Creator: "test", Licence: occurrence.CC0, Written: now}, list); err != nil {
		t.Fatal(err)
	}
	taker := Taker{Judge: judge(t), Store: &Store{DB: dbtest.Open(t, dbtest.SQLiteURL(t)), Now: clock}}
	if err := occurrence.ReadArchive(bytes.NewReader(file.Bytes()), int64(file.Len()), func(r occurrence.Record) error { return taker.Take(t.Context(), r) }); err != nil {
		t.Fatal(err)
	}
	if err := taker.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	open, err := taker.Store.Open(t.Context(), map[string]insects.Region{"river": insects.Rockies})
	if err != nil || len(open.Records) != len(list) {
		t.Fatalf("%d records of %d, %v", len(open.Records), len(list), err)
	}
	windows := open.Windows(insects.Rockies, c, civil.DateOf(now), now).Windows
	worst, compared := 0.0, 0
	for _, w := range windows {
		if len(days[w.Group]) < 50 {
			continue
		}
		compared++
		g, _ := c.Group(w.Group)
		own := flight.Fit(days[w.Group], flight.EffortOf(hours), BookOf(g, w.Book))
		for _, d := range []float64{own.Start.Mid - w.Records.Start.Mid, own.Median.Mid - w.Records.Median.Mid, own.End.Mid - w.Records.End.Mid} {
			worst = math.Max(worst, math.Abs(d))
		}
	}
	t.Logf("%d records of %d groups: at most %.1f days apart", len(open.Records), compared, worst)
	if compared == 0 || worst > 2 {
		t.Errorf("%d groups compared, at most %.1f days apart", compared, worst)
	}
}
