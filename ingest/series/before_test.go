package series

import (
	"math"
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/eclose/ingest"
)

// A file written before retrieval was delta-encoded, of the invented river Garrow, is
// still read; its figures were taken with DuckDB.
func TestAFileOfFormerEncodingsIsRead(t *testing.T) {
	data, err := os.ReadFile("testdata/before-delta.parquet")
	if err != nil {
		t.Fatal(err)
	}
	got, err := decode(data, allColumns, wanted{all: true})
	if err != nil {
		t.Fatal(err)
	}
	n, sum, odd := got.len(), 0.0, 0
	for i, v := range got.value {
		sum += v
		if got.qualifier[i] != "" || got.test[i] != "" || got.approval[i] != 1 || got.flag[i] != 1 {
			odd++
		}
	}
	if n != 3300 || math.Abs(sum-17795.3) > 1e-6 || odd > 0 || got.time[0] != 1767225600000000 || got.time[n-1] != 1779102000000000 {
		t.Errorf("%d rows with the sum %v from %d to %d, %d of them odd", n, sum, got.time[0], got.time[n-1], odd)
	}
	if last := got.retrieved[n-1]; last != 1779105600000000 {
		t.Errorf("the last was retrieved at %d", last)
	}
}

// Texts come back as they were, with and without one that is not empty.
func TestTextsComeBack(t *testing.T) {
	s := quarterHours(ingest.WaterTemperature, 2024, 1)
	for _, c := range []struct{ qualifier, test string }{{"", ""}, {"e", ""}, {"", "spike"}, {"e", "spike"}} {
		want := tableOf(&s, 5)
		want.qualifier, want.test = make([]string, want.len()), make([]string, want.len())
		want.qualifier[7], want.test[9] = c.qualifier, c.test
		data, err := encode(bundleOf(s.Key), ingest.SiteInfo{}, &want)
		if err != nil {
			t.Fatal(err)
		}
		got, err := decode(data, allColumns, wanted{all: true})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got, cmp.AllowUnexported(table{})); diff != "" {
			t.Errorf("%+v: %s", c, diff)
		}
	}
}
