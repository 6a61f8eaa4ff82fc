package subscribe

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestWishesAreReadFromCSV(t *testing.T) {
	in := "\ufeffaddress,river,groups,stages,threshold,horizon_days,cadence,cautions,zone,units,quiet,wake_for_3,per_day\r\n" +
		"a@example.org,wend,blue-winged-olive; caddis,emergence,0.6,21,digest,no,Europe/London,us,22:00-07:30,yes,3\r\n" +
		"A@example.org,garrow,,,,,,,,,,,\r\n" +
		"b@example.org,wend\r\n"
	got, err := ReadCSV(strings.NewReader(in), "wishes.csv")
	if err != nil {
		t.Fatal(err)
	}
	want := []Request{
		{
			Address: "a@example.org", Zone: "Europe/London", Units: US, QuietFrom: 22 * 60, QuietTo: 7*60 + 30, WakeFor3: true, PerDay: 3,
			Subscriptions: []Subscription{
				{River: "wend", Groups: []string{"blue-winged-olive", "caddis"}, Stages: []string{"emergence"}, Threshold: 0.6, HorizonDays: 21, Cadence: Digest},
				{River: "garrow", Cautions: true},
			},
		},
		{Address: "b@example.org", Subscriptions: []Subscription{{River: "wend", Cautions: true}}},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestEveryFaultOfACSVIsNamedWithItsPlace(t *testing.T) {
	in := "address,river,threshold,cautions,quiet\nnobody,wend,x,perhaps,25:00\n\"a@example.org\",wend,0.5,yes,22:00-23:00\nb@example.org,wend,0.5,maybe,\nc@example.org,Wend!,7,,\n"
	_, err := ReadCSV(strings.NewReader(in), "w.csv")
	if err == nil {
		t.Fatal("taken")
	}
	for _, want := range []string{"w.csv, line 2: ", "column threshold", "column cautions", "column quiet", "address:", "w.csv, line 4: ", "w.csv, line 5: ", `river: "Wend!"`} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not in %v", want, err)
		}
	}
	for in, want := range map[string]string{"": "empty", "river\nwend\n": `"address" is missing`, "address,river,colour\n": `"colour" is unknown`, "address,river,river\n": "repeated", "address,river\n\"a": "quote"} {
		if _, err := ReadCSV(strings.NewReader(in), "w.csv"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", in, err, want)
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add("address,river\na@example.org,wend\n")
	f.Add("address,river,quiet\na@example.org,wend,22:00-07:00\n\"x")
	f.Fuzz(func(t *testing.T, s string) {
		rs, err := ReadCSV(strings.NewReader(s), "f")
		if err != nil {
			return
		}
		for _, r := range rs {
			if _, err := ParseAddress(r.Address); err != nil || len(r.Subscriptions) == 0 {
				t.Fatalf("%+v", r)
			}
		}
	})
}
