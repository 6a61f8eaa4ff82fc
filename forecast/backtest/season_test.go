package backtest

import (
	"fmt"
	"strings"
	"testing"
)

func build(t *testing.T, csv string, least float64) []Series {
	t.Helper()
	r, err := ReadRecords("r", strings.NewReader(csv))
	if err != nil {
		t.Fatal(err)
	}
	return r.Build(least)
}

func TestTheMedianIsTheFirstDayByWhichHalfWasCaught(t *testing.T) {
	var b strings.Builder
	b.WriteString("date,taxon,count\n")
	for y := 2001; y < 2004; y++ {
		for d, n := range map[int]int{100: 10, 110: 20, 120: 40, 130: 20, 140: 10} {
			fmt.Fprintf(&b, "%s,Olive,%d\n", day(y, d), n)
		}
		for d := 80; d < 170; d += 10 {
			fmt.Fprintf(&b, "%s,Olive,0\n", day(y, d))
		}
	}
	s := build(t, b.String(), 40)
	if len(s) != 1 || len(s[0].Seasons) != 3 {
		t.Fatalf("%d series", len(s))
	}
	if x := s[0].Seasons[0]; x.Q10 != 100 || x.Median != 120 || x.Q90 != 130 || x.Count != 100 {
		t.Errorf("%d %d %d of %g", x.Q10, x.Median, x.Q90, x.Count)
	}
}

func TestASeasonOverNewYearIsOneSeason(t *testing.T) {
	var b strings.Builder
	b.WriteString("date,taxon,count\n")
	for y := 2001; y < 2006; y++ {
		for d := -40; d <= 40; d += 5 {
			fmt.Fprintf(&b, "%s,Snowfly,%d\n", day(y, d+10), 20)
		}
		for d := 60; d < 310; d += 20 {
			fmt.Fprintf(&b, "%s,Snowfly,0\n", day(y, d))
		}
	}
	s := build(t, b.String(), 40)
	if len(s[0].Seasons) < 3 {
		t.Fatalf("%d seasons", len(s[0].Seasons))
	}
	for _, x := range s[0].Seasons {
		// Counted from the year in which it began.
		if x.Median < 365+5 || x.Median > 365+15 {
			t.Errorf("%d: median on day %d", x.Year, x.Median)
		}
	}
}

// Twice the hours in the second half catch twice as much of a steady flight:
// the median must stay in the middle.
func TestCatchesPerHourDoNotFollowTheEffort(t *testing.T) {
	var b strings.Builder
	b.WriteString("date,taxon,count,hours\n")
	for y := 2001; y < 2005; y++ {
		for d := 70; d < 280; d += 3 {
			n, h := 10, 1
			if d < 105 || d >= 245 {
				n = 0
			}
			if d >= 175 {
				n, h = 4*n, 4*h
			}
			fmt.Fprintf(&b, "%s,Sedge,%d,%d\n", day(y, d), n, h)
		}
	}
	s := build(t, b.String(), 40)
	for _, x := range s[0].Seasons {
		if x.Median < 168 || x.Median > 182 {
			t.Errorf("%d: median on day %d, not about 175", x.Year, x.Median)
		}
	}
}

func TestASeasonWithAHoleInItIsNotASeason(t *testing.T) {
	var b strings.Builder
	b.WriteString("date,taxon,count\n")
	for y := 2001; y < 2006; y++ {
		for d := 90; d < 220; d += 3 {
			if y == 2003 && d > 120 && d < 170 {
				continue
			}
			fmt.Fprintf(&b, "%s,Olive,%d\n", day(y, d), 5)
		}
	}
	for _, x := range build(t, b.String(), 40)[0].Seasons {
		if x.Year == 2003 {
			t.Error("2003 was not watched for 50 days of its season")
		}
	}
}

// A table of catches alone does not tell that nobody watched before the first:
// late seasons must not fall out of it, or only early ones would be judged.
func TestLateSeasonsStayInATableOfCatchesAlone(t *testing.T) {
	var b strings.Builder
	b.WriteString("date,taxon,count\n")
	for y := 2001; y < 2009; y++ {
		late := 6 * ((y - 2001) % 3)
		for d := 100 + late; d < 140+late; d += 4 {
			fmt.Fprintf(&b, "%s,Olive,12\n", day(y, d))
		}
	}
	if s := build(t, b.String(), 40); len(s) != 1 || len(s[0].Seasons) != 8 {
		t.Errorf("%d of 8 seasons are left", len(s[0].Seasons))
	}
}
