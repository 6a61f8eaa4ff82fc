package flow

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

// readDaily reads the daily mean discharge of a long USGS record, m3/s.
func readDaily(t testing.TB, name string) Input {
	t.Helper()
	f, err := os.Open(shared(t, "feeds", "usgs-series", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	byDay, column := map[int]float64{}, -1
	first, last := math.MaxInt, 0
	for lines := bufio.NewScanner(f); lines.Scan(); {
		cells := strings.Split(lines.Text(), "\t")
		if cells[0] == "agency_cd" {
			for k, c := range cells {
				if strings.HasSuffix(c, "_00060_00003") {
					column = k
				}
			}
		}
		if cells[0] != "USGS" || column < 0 || column >= len(cells) {
			continue
		}
		at, err := time.Parse(time.DateOnly, cells[2])
		if err != nil {
			if at, err = time.Parse("1/2/06", cells[2]); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if at.Year() > 2030 { // two digits of a year before 1969
				at = at.AddDate(-100, 0, 0)
			}
		}
		q, err := strconv.ParseFloat(cells[column], 64)
		if err != nil {
			continue
		}
		day := int(at.Unix() / 86400)
		byDay[day] = q * footToMetre3
		first, last = min(first, day), max(last, day)
	}
	if len(byDay) < 10000 {
		t.Fatalf("%s: only %d days of flow", name, len(byDay))
	}
	in := Input{Day0: first, Flow: make([]float64, last-first+1)}
	for i := range in.Flow {
		in.Flow[i] = math.NaN()
		if q, ok := byDay[first+i]; ok {
			in.Flow[i] = q
		}
	}
	return in
}

// Two long records without air: the Deschutes near Culver, above the dams and fed by
// springs, and near Madras, below them. The program gives no such forecast of a river
// that the config calls regulated; the figures say what it would be worth.
func TestLongRecordsOfTheDeschutes(t *testing.T) {
	if testing.Short() {
		t.Skip("fits fifty years")
	}
	for _, name := range []string{"deschutes-culver-14076500-1967-2020.rdb", "deschutes-madras-14092500-1952-2020.tsv"} {
		in := readDaily(t, name)
		in = in.slice(max(0, dayOf(1980, 10, 1)-in.Day0), len(in.Flow))
		cut := dayOf(2012, 10, 1) - in.Day0
		m := fitted(t, in.slice(0, cut))
		scores := hindcast(in, cut, 9, m)
		for _, s := range summarize(t, name, [][4]score{scores}, []float64{meanKnown(in.Flow[:cut])}) {
			if s.toClimate >= 1 {
				t.Errorf("%s, %d days ahead: CRPS over that of climatology %.3f", name, s.lead, s.toClimate)
			}
		}
	}
}
