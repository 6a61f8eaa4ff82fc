package backtest

import (
	"fmt"
	"os"
	"strconv"
	"testing"
)

func TestTry(t *testing.T) {
	f := os.Getenv("TRY")
	if f == "" {
		t.Skip()
	}
	r, err := os.Open(f)
	if err != nil {
		t.Fatal(err)
	}
	rec, err := ReadRecords(f, r)
	if err != nil {
		t.Fatal(err)
	}
	var w *Water
	if f := os.Getenv("WATER"); f != "" {
		r, _ := os.Open(f)
		if w, err = ReadWater(f, r); err != nil {
			t.Fatal(err)
		}
	}
	lead, _ := strconv.Atoi(os.Getenv("LEAD"))
	series := rec.Build(40)
	fc, err := Run(series, w, Options{LeadDays: lead, Catches: os.Getenv("CATCH") == "1", Others: os.Getenv("OTHERS") != "0", PastOnly: os.Getenv("PAST") == "1"})
	if err != nil {
		t.Fatal(err)
	}
	least := 8
	if s := os.Getenv("LEAST"); s != "" {
		least, _ = strconv.Atoi(s)
	}
	var ratios, cr []float64
	in, n, bad := 0.0, 0.0, 0
	for _, s := range Score(fc) {
		if s.Seasons < least {
			continue
		}
		r := s.RMSEModel / s.RMSECalendar
		c := s.CRPSModel / s.CRPSCalendar
		ratios, cr = append(ratios, r), append(cr, c)
		if r > 1.03 {
			bad++
		}
		in += s.Coverage80 * float64(s.Seasons)
		n += float64(s.Seasons)
		if os.Getenv("V") != "" {
			fmt.Printf("%-30s %3d  %6.2f %6.2f  %.3f   crps %6.2f %6.2f %.3f  cov %.2f\n", s.Taxon, s.Seasons, s.RMSEModel, s.RMSECalendar, r, s.CRPSModel, s.CRPSCalendar, c, s.Coverage80)
		}
	}
	worst := 0.0
	for _, r := range ratios {
		worst = max(worst, r)
	}
	fmt.Printf("lead %d catch %s past %s: taxa %d median ratio %.3f worst %.3f bad %d  crps ratio %.3f coverage %.3f\n", lead, os.Getenv("CATCH"), os.Getenv("PAST"), len(ratios), median(ratios), worst, bad, median(cr), in/n)
}
