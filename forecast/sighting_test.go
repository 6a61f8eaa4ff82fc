package forecast

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/eclose/forecast/diary"
)

// A reader's "none yet" is worth what the owner's is, and each kind of sighting
// can be left out, as if it had never been written.
func TestEachKindOfSightingCountsAndCanBeLeftOut(t *testing.T) {
	rec := beckRecord(t, midMay)
	r := beck
	r.Groups = []string{"western-green-drake"}
	blank := func(origin diary.Origin, author string) diary.Sighting {
		s := saw("2025-05-14", "western-green-drake", Emergence, diary.None)
		return diary.Sighting{Day: s.Day.Time(), River: r.Slug, Group: s.Group, Stage: string(s.Stage), Amount: s.Amount, Hours: 2, Origin: origin, Author: author}
	}
	issue := func(opt Options) *Outlook {
		t.Helper()
		opt.Members = 60
		o, err := rec.Outlook(r, catalogue(t), opt)
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
	windows := func(o *Outlook) (out []Window) {
		for _, s := range o.Stages {
			out = append(out, s.Window)
		}
		return out
	}
	plain := windows(issue(Options{}))
	own := windows(issue(Options{Sightings: SightingsOf([]diary.Sighting{blank(diary.Own, "")})}))
	if cmp.Equal(plain, own) {
		t.Fatal("a blank session moves nothing: the test sees nothing")
	}
	for origin, kind := range map[diary.Origin]SightingKind{diary.Reader: Readers, diary.Neighbour: Neighbours} {
		seen := SightingsOf([]diary.Sighting{blank(origin, "x")})
		o := issue(Options{Sightings: seen})
		if diff := cmp.Diff(own, windows(o)); diff != "" {
			t.Errorf("%s: not worth the owner's: %s", kind, diff)
		}
		if len(o.Entered) != 1 || o.Entered[0].Kind != kind || o.Entered[0].Sightings != 1 {
			t.Errorf("%s: entered %+v", kind, o.Entered)
		}
		o = issue(Options{Sightings: seen, Without: []SightingKind{kind}})
		if diff := cmp.Diff(plain, windows(o)); diff != "" || len(o.Entered) != 0 {
			t.Errorf("%s: left out, it still counts: %s %+v", kind, diff, o.Entered)
		}
	}
	// A hundred readers of one day are one visit, and what is held back is none.
	var many []diary.Sighting
	for range 100 {
		many = append(many, blank(diary.Reader, "x"))
	}
	if diff := cmp.Diff(own, windows(issue(Options{Sightings: SightingsOf(many)}))); diff != "" {
		t.Errorf("a hundred reports of one day: %s", diff)
	}
	held := blank(diary.Reader, "x")
	held.Held = true
	if len(SightingsOf([]diary.Sighting{held})) != 0 {
		t.Error("what is held back counts")
	}
}
