package records

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
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

// The light traps of the Colorado basin (US Geological Survey), written as a
// Darwin Core archive of events with their effort and absences, read back, judged
// and kept, give the windows that their own table gives.
func TestTrapsAsDarwinCoreGiveTheWindowsOfTheirOwnTable(t *testing.T) {
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
	for _, x := range rows(t, "gcmrc-light-traps", "aquatic-counts.csv") {
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
	for i, x := range rows(t, "gcmrc-light-traps", "samples.csv") {
		if i%3 > 0 {
			continue // a third is enough, on both sides
		}
		d, err := time.Parse(time.DateOnly, x["date"])
		h, herr := strconv.ParseFloat(x["hours"], 64)
		if err != nil || herr != nil || !(h > 0 && h < 24) || x["flag_delete"] == "1" || x["has_specimen_rows"] != "1" {
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
			r.EffortHours, r.Effort, r.Protocol, r.Count, r.Absent = h, x["hours"]+" hours", "light trap", n, !seen
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
	open, err := taker.Store.Open(t.Context(), []Home{{Name: "river", Region: insects.Rockies}})
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
		own := flight.Fit(days[w.Group], flight.EffortOf(hours), bookOf(g, w.Book))
		for _, d := range []float64{own.Start.Mid - w.Records.Start.Mid, own.Median.Mid - w.Records.Median.Mid, own.End.Mid - w.Records.End.Mid} {
			worst = math.Max(worst, math.Abs(d))
		}
	}
	t.Logf("%d records of %d groups: at most %.1f days apart", len(open.Records), compared, worst)
	if compared == 0 || worst > 2 {
		t.Errorf("%d groups compared, at most %.1f days apart", compared, worst)
	}
}

// The sticky traps of the same rivers know families, which are no groups of the
// catalogue there. Their archive read back gives each family the window of its own
// table.
func TestStickyTrapsAsDarwinCoreKeepTheirWindows(t *testing.T) {
	family := map[string]string{"CHIA": "Chironomidae", "SIMA": "Simuliidae", "CERA": "Ceratopogonidae", "HYDA": "Hydroptilidae"}
	caught := map[string]map[string]bool{}
	for _, x := range rows(t, "gcmrc-sticky-traps", "counts.csv.gz") {
		if f := family[x["species_id"]]; f != "" && x["count"] != "0" {
			if caught[x["sample"]] == nil {
				caught[x["sample"]] = map[string]bool{}
			}
			caught[x["sample"]][f] = true
		}
	}
	type seen struct {
		days  map[string][]flight.Record
		hours [flight.Year]float64
	}
	own, back := seen{days: map[string][]flight.Record{}}, seen{days: map[string][]flight.Record{}}
	var list []occurrence.Record
	for i, x := range rows(t, "gcmrc-sticky-traps", "samples.csv.gz") {
		d, err := time.Parse(time.DateOnly, x["date"])
		exposed, herr := strconv.ParseFloat(x["days_exposed"], 64)
		if i%2 > 0 || err != nil || herr != nil || !(exposed > 0 && exposed <= 3) || x["flag_delete"] == "1" || x["has_specimen_rows"] != "1" {
			continue // half is enough, on both sides
		}
		own.hours[d.YearDay()-1] += 24 * exposed
		for _, f := range family {
			r := occurrence.New(occurrence.SourceName)
			r.Key, r.Event, r.Name, r.Rank = "urn:sticky:"+x["sample"]+":"+f, x["sample"], f, "family"
			r.Start, r.End, r.LatDeg, r.LonDeg, r.Stage, r.Licence = d, d, 36.1, -112, occurrence.Adult, occurrence.CC0
			r.EffortHours, r.Effort, r.Protocol, r.Absent = 24*exposed, x["days_exposed"]+" days", "sticky trap", !caught[x["sample"]][f]
			list = append(list, r)
			if !r.Absent {
				own.days[f] = append(own.days[f], flight.Record{Day: d.YearDay(), Year: d.Year()})
			}
		}
	}
	var file bytes.Buffer
	if err := occurrence.WriteArchive(&file, occurrence.About{Title: "Traps", Creator: "test", Licence: occurrence.CC0, Written: now}, list); err != nil {
		t.Fatal(err)
	}
	events := map[string]bool{}
	err := occurrence.ReadArchive(bytes.NewReader(file.Bytes()), int64(file.Len()), func(r occurrence.Record) error {
		if !events[r.Event] {
			events[r.Event] = true
			back.hours[r.Start.YearDay()-1] += r.EffortHours
		}
		if !r.Absent {
			back.days[r.Name] = append(back.days[r.Name], flight.Record{Day: r.Start.YearDay(), Year: r.Start.Year()})
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	book := flight.Book{Start: 60, Median: 180, End: 300, MedianSD: 40} // knows next to nothing
	worst := 0.0
	for f, days := range own.days {
		a, b := flight.Fit(days, flight.EffortOf(own.hours), book), flight.Fit(back.days[f], flight.EffortOf(back.hours), book)
		for _, d := range []float64{a.Start.Mid - b.Start.Mid, a.Median.Mid - b.Median.Mid, a.End.Mid - b.End.Mid} {
			worst = math.Max(worst, math.Abs(d))
		}
		if len(days) < 200 || len(days) != len(back.days[f]) {
			t.Errorf("%s: %d samples, %d read back", f, len(days), len(back.days[f]))
		}
	}
	t.Logf("%d samples, %d records of %d families: at most %.1f days apart", len(events), len(list), len(own.days), worst)
	if len(own.days) != 4 || worst > 2 {
		t.Errorf("%d families, at most %.1f days apart", len(own.days), worst)
	}
}
