package warning

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/series"
)

var noon = time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)

func alert(id string, change func(*Warning)) Warning {
	w := Warning{Feed: "t", ID: id, Status: Actual, MsgType: MsgAlert, Event: "Flood Warning", Sent: noon.Add(-time.Hour), Expires: noon.Add(time.Hour), Fit: Here}
	if change != nil {
		change(&w)
	}
	w.Complete()
	return w
}

func ids(list []Warning) string {
	var out []string
	for _, w := range list {
		out = append(out, w.ID)
	}
	return strings.Join(out, " ")
}

func TestWhatIsInForce(t *testing.T) {
	update := func(refs ...string) func(*Warning) {
		return func(w *Warning) { w.MsgType, w.References = MsgUpdate, refs }
	}
	for _, c := range []struct {
		name string
		list []Warning
		want string
	}{
		{"an alert", []Warning{alert("a", nil)}, "a"},
		{"one that has expired", []Warning{alert("a", func(w *Warning) { w.Expires = noon })}, ""},
		{"one whose event outlasts its message", []Warning{alert("a", func(w *Warning) { w.Expires, w.Ends = noon.Add(-time.Hour), noon.Add(time.Hour) })}, "a"},
		{"one without an end", []Warning{alert("a", func(w *Warning) { w.Expires = time.Time{} })}, "a"},
		{"a test", []Warning{alert("a", func(w *Warning) { w.Status = "Test" })}, ""},
		{"an exercise", []Warning{alert("a", func(w *Warning) { w.Status = "Exercise" })}, ""},
		{"an update supersedes", []Warning{alert("a", nil), alert("b", update("a"))}, "b"},
		{"whatever the order", []Warning{alert("b", update("a")), alert("a", nil)}, "b"},
		{"a test update does not", []Warning{alert("a", nil), alert("b", func(w *Warning) { update("a")(w); w.Status = "Test" })}, "a"},
		{"an expired update still supersedes", []Warning{alert("a", nil), alert("b", func(w *Warning) { update("a")(w); w.Expires = noon })}, ""},
		{"a cancellation", []Warning{alert("a", nil), alert("b", func(w *Warning) { w.MsgType, w.References = MsgCancel, []string{"a"} })}, ""},
		{"an error takes back", []Warning{alert("a", nil), alert("c", nil), alert("b", func(w *Warning) { w.MsgType, w.References = MsgError, []string{"a"} })}, "c"},
		{"an acknowledgement ends nothing", []Warning{alert("a", nil), alert("b", func(w *Warning) { w.MsgType, w.References = MsgAck, []string{"a"} })}, "a"},
		{"one that names itself", []Warning{alert("a", update("a"))}, "a"},
		{"one that holds elsewhere", []Warning{alert("a", func(w *Warning) { w.Fit = Away })}, ""},
		{"an update that leaves the river out", []Warning{alert("a", nil), alert("b", func(w *Warning) { update("a")(w); w.Fit = Away })}, ""},
		{"one without status and type", []Warning{alert("a", func(w *Warning) { w.Status, w.MsgType = "", "" })}, "a"},
	} {
		if got := ids(InForce(c.list, noon)); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestWhatHoldsElsewhereIsDroppedUnlessItEndsAnother(t *testing.T) {
	away := func(w *Warning) { w.Fit = Away }
	got := Concern([]Warning{alert("a", away), alert("b", nil), alert("c", func(w *Warning) { away(w); w.References = []string{"b"} })})
	if ids(got) != "b c" {
		t.Errorf("got %s", ids(got))
	}
}

func TestTheMessagesAboutOneEventAreOneChain(t *testing.T) {
	old := []Warning{alert("a", nil)}
	list := []Warning{
		alert("c", func(w *Warning) { w.MsgType, w.References, w.Sent = MsgUpdate, []string{"b"}, noon }),
		alert("b", func(w *Warning) { w.MsgType, w.References, w.Sent = MsgUpdate, []string{"a"}, noon.Add(-time.Minute) }),
		alert("x", nil),
	}
	Follow(old, list)
	if list[0].Chain != "a" || list[1].Chain != "a" || list[2].Chain != "x" {
		t.Errorf("chains %q, %q, %q", list[0].Chain, list[1].Chain, list[2].Chain)
	}
}

// square holds the place 45 north, 131 west.
func square(lat, lon float64) []Polygon {
	return []Polygon{{{{lat - 1, lon - 1}, {lat - 1, lon + 1}, {lat + 1, lon + 1}, {lat + 1, lon - 1}, {lat - 1, lon - 1}}}}
}

func TestHowWellAWarningFitsAPlace(t *testing.T) {
	hole := Polygon{square(45, -131)[0][0], {{44.9, -131.1}, {44.9, -130.9}, {45.1, -130.9}, {45.1, -131.1}}}
	for _, c := range []struct {
		name    string
		area    Area
		zones   []string
		matched AreaFit
		want    AreaFit
	}{
		{"inside its polygon", Area{Shape: square(45, -131)}, nil, Unplaced, Here},
		{"outside", Area{Shape: square(40, -131)}, nil, Unplaced, Away},
		{"in a hole", Area{Shape: []Polygon{hole}}, nil, Unplaced, Away},
		{"outside, but the service says it concerns us", Area{Shape: square(40, -131)}, nil, InZone, InZone},
		{"no polygon, the service matched", Area{Desc: "Lower Wend"}, nil, InZone, InZone},
		{"no polygon, our zone", Area{Zones: []string{"XX012"}}, []string{"XX012"}, Unplaced, Here},
		{"no polygon, another zone", Area{Zones: []string{"XX013"}}, []string{"XX012"}, Unplaced, Away},
		{"no polygon, zones of another scheme", Area{Zones: []string{"YYY1"}}, []string{"XX012"}, Unplaced, Unplaced},
		{"no polygon, our zone is not known", Area{Zones: []string{"XX013"}}, nil, Unplaced, Unplaced},
	} {
		w := alert("a", nil)
		w.Area = c.area
		w.Locate(Place{Lat: 45, Lon: -131, Zones: c.zones}, c.matched)
		if w.Fit != c.want {
			t.Errorf("%s: %q, want %q", c.name, w.Fit, c.want)
		}
	}
}

func TestGeometries(t *testing.T) {
	for _, c := range []struct {
		text string
		n    int
	}{
		{`null`, 0}, {``, 0}, {`{"type":"Point","coordinates":[1,2]}`, 0}, {`{"type":"Polygon","coordinates":[[[1,2],[3,4]]]}`, 0},
		{`{"type":"Polygon","coordinates":[[[1,2],[3,4],[5,6]]]}`, 1},
		{`{"type":"MultiPolygon","coordinates":[[[[1,2],[3,4],[5,6]]],[[[1,2],[3,4],[5,6]]]]}`, 2},
		{`{"type":"GeometryCollection","geometries":[{"type":"Polygon","coordinates":[[[1,2],[3,4],[5,6]]]},{"type":"Polygon","coordinates":[[[1,2],[3,4],[5,6]]]}]}`, 2},
		{`{"type":"Polygon","coordinates":[[[1,200],[3,4],[5,6]]]}`, 0},
	} {
		if got := len(GeoJSON([]byte(c.text))); got != c.n {
			t.Errorf("%s: %d polygons, want %d", c.text, got, c.n)
		}
	}
	if g := CAPPolygon("45,-131 46,-131 46,-130 45,-131"); !g.Holds(Point{45.5, -130.6}) || g.Holds(Point{-130.6, 45.5}) {
		t.Errorf("%v", g)
	}
	if CAPPolygon("45,-131 46") != nil || CAPPolygon("a,b c,d e,f") != nil {
		t.Error("a polygon of nothing")
	}
}

// scripted is a source that says what it is told to.
type scripted struct {
	list []Warning
	err  error
}

func (*scripted) Name() string { return "t" }
func (s *scripted) Fetch(context.Context, Place) ([]Warning, error) {
	return append([]Warning(nil), s.list...), s.err
}

func TestAFeedThatFailsIsNotKnownToHaveNoWarnings(t *testing.T) {
	files, err := series.OpenFiles(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	now := noon
	clock := func() time.Time { return now }
	s := &scripted{list: []Warning{alert("a", nil)}}
	renew := func() Renewed {
		t.Helper()
		r, err := Renew(t.Context(), files, "wend", s, Place{}, clock)
		if err != nil {
			t.Fatal(err)
		}
		kept, err := Load(t.Context(), files, "wend")
		if err != nil || ids(kept.List) != ids(r.Now.List) || !kept.Fetched.Equal(r.Now.Fetched) {
			t.Errorf("kept %+v, %v; want %+v", kept, err, r.Now)
		}
		return r
	}
	if r, err := Load(t.Context(), files, "wend"); err != nil || r.Known(now) {
		t.Errorf("before the first fetch: %+v, %v", r, err)
	}
	if r := renew(); !r.Now.Known(now) || ids(r.Now.InForce(now)) != "a" || !r.Changed(now) {
		t.Errorf("the first fetch: %+v", r)
	}
	s.err = errors.New("down")
	now = noon.Add(10 * time.Minute)
	if r := renew(); r.Failed == nil || r.Now.Known(now) || ids(r.Now.InForce(now)) != "a" || !r.Now.Fetched.Equal(noon) || !r.Now.Tried.Equal(now) {
		t.Errorf("a feed that fails: %+v", r)
	}
	s.err, s.list = nil, nil
	if r := renew(); !r.Now.Known(now) || len(r.Now.InForce(now)) > 0 || !r.Changed(now) {
		t.Errorf("a feed that says that it is over: %+v", r)
	}
	if r := renew(); r.Changed(now) {
		t.Error("nothing in force twice is news")
	}
	if r, _ := Load(t.Context(), files, "wend"); !r.Known(now.Add(maxAge)) || r.Known(now.Add(maxAge+time.Second)) {
		t.Error("an old response counts, or a fresh one is not")
	}
	if err := files.Write(t.Context(), "warnings/wend.json", []byte("{")); err != nil {
		t.Fatal(err)
	}
	if r, err := Load(t.Context(), files, "wend"); err != nil || r.Known(now) {
		t.Errorf("a damaged record: %+v, %v", r, err)
	}
}

func TestAStopIsNoFailureOfTheFeed(t *testing.T) {
	files, err := series.OpenFiles(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Renew(ctx, files, "wend", &scripted{err: context.Canceled}, Place{}, func() time.Time { return noon }); err == nil {
		t.Error("a fetch that was stopped was kept")
	}
	if r, _ := Load(t.Context(), files, "wend"); r.Problem != "" {
		t.Errorf("kept %+v", r)
	}
}

func TestARecordOfTheOldKeyKeepsItsFit(t *testing.T) {
	files, err := series.OpenFiles(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"where", "fit"} {
		body := `{"feed":"t","tried":"2026-05-18T12:00:00Z","fetched":"2026-05-18T12:00:00Z","list":[{"id":"a","` + key + `":"away"},{"id":"b","` + key + `":"here"}]}`
		if err := files.Write(t.Context(), "warnings/wend.json", []byte(body)); err != nil {
			t.Fatal(err)
		}
		r, err := Load(t.Context(), files, "wend")
		if err != nil || len(r.List) != 2 || r.List[0].Fit != Away || r.List[1].Fit != Here {
			t.Errorf("%s: %+v, %v", key, r.List, err)
		}
	}
}
