package series

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

// quarterHours is years of invented 15-minute readings of a river: a year's
// wave, a day's wave, noise, the resolution of a real sensor (0.1 °C; three
// figures of cubic feet a second) and a gap now and then.
func quarterHours(variable ingest.Variable, firstYear, years int) ingest.Series {
	r := rand.New(rand.NewPCG(uint64(firstYear), uint64(len(variable))))
	s := ingest.Series{Key: ingest.Key{Feed: "csv", Site: "wend-1", Variable: variable, Statistic: ingest.Instant}}
	from, to := day(firstYear, 1, 1), day(firstYear+years, 1, 1)
	walk := 0.0
	for t := from; t.Before(to); t = t.Add(15 * time.Minute) {
		if r.IntN(5000) == 0 {
			t = t.Add(time.Duration(r.IntN(12)) * time.Hour)
			if !t.Before(to) {
				break
			}
		}
		walk = 0.999*walk + 0.02*r.NormFloat64()
		days := t.Sub(from).Hours() / 24
		v := 9 - 6*math.Cos(2*math.Pi*days/365.25) - 1.5*math.Cos(2*math.Pi*days) + walk
		if variable == ingest.Discharge {
			cfs, _ := strconv.ParseFloat(strconv.FormatFloat(700*math.Exp(walk), 'g', 3, 64), 64)
			v = cfs * 0.028316846592
		} else {
			v = math.Round(10*v) / 10
		}
		s.Time, s.Value = append(s.Time, t.UnixMicro()), append(s.Value, v)
		s.Flag = append(s.Flag, ingest.Pass)
	}
	s.Approval = make([]ingest.Approval, s.Len())
	for i := range s.Approval {
		s.Approval[i] = ingest.Provisional
	}
	return s
}

func twoVariables(firstYear, years int) []ingest.Series {
	return []ingest.Series{quarterHours(ingest.WaterTemperature, firstYear, years), quarterHours(ingest.Discharge, firstYear, years)}
}

// BenchmarkPut: one year of 15-minute temperature and flow, some 70,000 values,
// until it is synced on the disk; the same in memory; and, as a naive baseline,
// the same values written as CSV into memory.
func BenchmarkPut(b *testing.B) {
	all := twoVariables(2025, 1)
	values := all[0].Len() + all[1].Len()
	for _, place := range []string{"folder", "memory"} {
		b.Run("a new year of two variables, "+place, func(b *testing.B) {
			for b.Loop() {
				s := newMemStore()
				if place == "folder" {
					s = mustOpen(b, "file://"+b.TempDir())
				}
				if _, err := s.PutAll(b.Context(), all, day(2026, 1, 1)); err != nil {
					b.Fatal(err)
				}
				s.Close()
			}
			b.ReportMetric(float64(values), "values")
		})
	}
	b.Run("the same answer again", func(b *testing.B) {
		s := mustOpen(b, "file://"+b.TempDir())
		if _, err := s.PutAll(b.Context(), all, day(2026, 1, 1)); err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			if c, err := s.PutAll(b.Context(), all, day(2026, 1, 2)); err != nil || c.Unchanged != values {
				b.Fatal(c, err)
			}
		}
	})
	b.Run("one day more", func(b *testing.B) {
		s := mustOpen(b, "file://"+b.TempDir())
		if _, err := s.PutAll(b.Context(), all, day(2026, 1, 1)); err != nil {
			b.Fatal(err)
		}
		n := 0
		for b.Loop() {
			at := day(2026, 1, 1).AddDate(0, 0, n%300)
			n++
			one := regular(all[0].Key, at, 15*time.Minute, make([]float64, 96)...)
			if _, err := s.Put(b.Context(), one, at); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("baseline: written as CSV", func(b *testing.B) {
		for b.Loop() {
			var buf bytes.Buffer
			for i := range all {
				writeNaive(&buf, &all[i])
			}
		}
	})
}

func writeNaive(buf *bytes.Buffer, s *ingest.Series) {
	for i := range s.Time {
		fmt.Fprintf(buf, "%s,%g,%d\n", s.At(i).Format(time.RFC3339), s.Value[i], s.Flag[i])
	}
}

// BenchmarkDaily: ten years of two 15-minute variables to daily means, from
// the files of a folder; beside it the same from CSV text in memory.
func BenchmarkDaily(b *testing.B) {
	all := twoVariables(2015, 10)
	s := mustOpen(b, "file://"+b.TempDir())
	if _, err := s.PutAll(b.Context(), all, day(2026, 1, 1)); err != nil {
		b.Fatal(err)
	}
	zone, err := time.LoadLocation("America/Los_Angeles")
	if err != nil {
		b.Fatal(err)
	}
	rule := DayRule{Zone: zone}
	b.Run("ten years of two variables", func(b *testing.B) {
		for b.Loop() {
			for i := range all {
				days, err := s.Daily(b.Context(), all[i].Key, Query{}, rule)
				if err != nil || len(days) < 3650 {
					b.Fatal(len(days), err)
				}
			}
		}
		b.ReportMetric(float64(all[0].Len()+all[1].Len()), "values")
	})
	b.Run("in memory, without the files", func(b *testing.B) {
		for b.Loop() {
			for i := range all {
				if _, err := Days(all[i], rule); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
	var text bytes.Buffer
	for i := range all {
		writeNaive(&text, &all[i])
	}
	b.Run("baseline: read from CSV into a map", func(b *testing.B) {
		for b.Loop() {
			sum, count := map[string]float64{}, map[string]int{}
			lines := bufio.NewScanner(bytes.NewReader(text.Bytes()))
			for lines.Scan() {
				at, rest, _ := bytes.Cut(lines.Bytes(), []byte{','})
				value, _, _ := bytes.Cut(rest, []byte{','})
				t, err := time.Parse(time.RFC3339, string(at))
				if err != nil {
					b.Fatal(err)
				}
				v, err := strconv.ParseFloat(string(value), 64)
				if err != nil {
					b.Fatal(err)
				}
				date := t.In(zone).Format(time.DateOnly)
				sum[date] += v
				count[date]++
			}
		}
	})
}
