package syndicate

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/model/wading"
)

var (
	noon = time.Date(2026, 5, 18, 19, 0, 0, 0, time.UTC)
	wend = forecast.River{Slug: "wend", Name: "Wend <upper> & lower", Zone: "America/Los_Angeles", Lat: 45.2, Lon: -131.4}
)

func skip(t *testing.T, format string, args ...any) {
	t.Helper()
	if os.Getenv("ECLOSE_CI") == "1" {
		t.Fatalf(format, args...)
	}
	t.Skipf(format, args...)
}

func day(month time.Month, d int) forecast.Date {
	return forecast.DateOf(time.Date(2026, month, d, 0, 0, 0, 0, time.UTC))
}

// outlook invents an outlook with a window for each group: from and to.
func outlook(at time.Time, windows map[string][2]forecast.Date) *forecast.Outlook {
	o := &forecast.Outlook{River: "wend", RiverName: wend.Name, Zone: wend.Zone, Lat: wend.Lat, Lon: wend.Lon, IssuedAt: at, DataCutoff: at.Add(-time.Hour), Members: 60, Seasons: 6}
	groups := make([]string, 0, len(windows))
	for g := range windows {
		groups = append(groups, g)
	}
	slices.Sort(groups)
	for _, g := range groups {
		w := windows[g]
		var days []forecast.Day
		for d := w[0]; d <= w[1]; d++ {
			days = append(days, forecast.Day{Date: d, P: 0.6, PCalendar: 0.4})
		}
		one := func(d forecast.Date) forecast.Range { return forecast.Range{P10: d - 3, P50: d, P90: d + 3} }
		o.Stages = append(o.Stages, forecast.StageOutlook{Group: g, Name: g, Stage: forecast.Emergence, Fishable: true, Grade: "guess", Days: forecast.DaysOf(days), Hours: forecast.Hours{Spans: []forecast.Span{{From: 12 * 60, To: 16 * 60}}},
			Window: forecast.Window{Start: one(w[0]), Peak: one((w[0] + w[1]) / 2), End: one(w[1])}})
	}
	return o
}

func all(string, forecast.Stage) bool { return true }

func TestAWindowThatMovesIsToldAsMovedAndOneThatIsGoneAsCancelled(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		ctx := context.Background()
		tell := func(o *forecast.Outlook) (out []WindowChange) {
			t.Helper()
			err := d.Tx(ctx, func(tx *db.Tx) (err error) { out, _, err = Publish(ctx, tx, o, all); return err })
			if err != nil {
				t.Fatal(err)
			}
			return out
		}
		kinds := func(changes []WindowChange) string {
			var out []string
			for _, c := range changes {
				out = append(out, c.Window.Group+" "+string(c.Kind))
			}
			slices.Sort(out)
			return strings.Join(out, ", ")
		}
		first := outlook(noon, map[string][2]forecast.Date{"a": {day(6, 1), day(6, 10)}, "b": {day(6, 5), day(6, 20)}, "past": {day(4, 1), day(4, 10)}})
		steps := []struct {
			o    *forecast.Outlook
			want string
		}{
			{first, "a added, b added, past added"},
			{first, ""}, // a job that runs again
			{outlook(noon.Add(6*time.Hour), map[string][2]forecast.Date{"a": {day(6, 2), day(6, 11)}, "b": {day(6, 5), day(6, 20)}}), ""},         // one day is no news
			{outlook(noon.Add(12*time.Hour), map[string][2]forecast.Date{"a": {day(6, 3), day(6, 11)}, "b": {day(6, 5), day(6, 20)}}), "a moved"}, // two days from what was told
			{outlook(noon.Add(18*time.Hour), map[string][2]forecast.Date{"a": {day(6, 3), day(6, 11)}}), "b cancelled"},
			{outlook(noon.Add(24*time.Hour), map[string][2]forecast.Date{"a": {day(6, 3), day(6, 11)}}), ""},
			{outlook(noon.Add(20*time.Hour), map[string][2]forecast.Date{"a": {day(7, 3), day(7, 11)}}), ""}, // late: a newer one was told
			{outlook(noon.Add(30*time.Hour), map[string][2]forecast.Date{"a": {day(6, 3), day(6, 11)}, "b": {day(6, 5), day(6, 20)}}), "b added"},
		}
		for i, s := range steps {
			if got := kinds(tell(s.o)); got != s.want {
				t.Errorf("step %d: told %q, want %q", i, got, s.want)
			}
		}
		rows, err := Published(ctx, d.SQL, "wend")
		if err != nil || len(rows) != 3 {
			t.Fatalf("%d windows, %v", len(rows), err)
		}
		for _, w := range rows {
			if w.Cancelled {
				t.Errorf("%s is cancelled", w.Group)
			}
		}
		if listed := Listed(rows, nil, day(5, 18)); len(listed) != 2 || listed[0].From != day(6, 3) {
			t.Errorf("listed: %+v", listed)
		}
		if wished := Listed(rows, []string{"b"}, day(5, 18)); len(wished) != 1 || wished[0].Group != "b" {
			t.Errorf("wished for: %+v", wished)
		}
	})
}

func TestOnlyTheFewThatMatterAreListedAndStayListed(t *testing.T) {
	matters := func(group string, _ forecast.Stage) bool { return group == "a" }
	now := WindowsOf(outlook(noon, map[string][2]forecast.Date{"a": {day(6, 1), day(6, 10)}, "b": {day(6, 5), day(6, 20)}}), matters)
	rows, _ := compare(nil, now, day(5, 18), noon)
	if got := Listed(rows, nil, day(5, 18)); len(got) != 1 || got[0].Group != "a" {
		t.Fatalf("%+v", got)
	}
	rows, _ = compare(rows, WindowsOf(outlook(noon.Add(time.Hour), map[string][2]forecast.Date{"a": {day(6, 1), day(6, 10)}, "b": {day(6, 5), day(6, 20)}}), func(g string, _ forecast.Stage) bool { return g == "b" }), day(5, 18), noon.Add(time.Hour))
	if got := Listed(rows, nil, day(5, 18)); len(got) != 2 {
		t.Errorf("what was shown is gone: %+v", got)
	}
}

// ical is the folder with ical.js, from npm.
func ical(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(os.TempDir(), fmt.Sprintf("eclose-ical-%d", os.Getuid()))
	if _, err := os.Stat(filepath.Join(dir, "node_modules", "ical.js")); err == nil {
		return dir
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if out, err := exec.CommandContext(ctx, "npm", "install", "--prefix", dir, "--no-audit", "--no-fund", "--ignore-scripts", "ical.js@2").CombinedOutput(); err != nil {
		skip(t, "no npm here, so no calendar program reads the calendar: %v\n%s", err, out)
	}
	return dir
}

// The calendar of an address, fetched as the forecast changes, by a client library
// that is not ours: each window is one event for good.
func TestACalendarProgramSeesAMovedWindowAsMovedNotDoubled(t *testing.T) {
	for name, program := range map[string]func(*testing.T) []string{"ical.js": func(t *testing.T) []string { return []string{"node", "testdata/client.mjs", ical(t)} }, "icalendar": icalendar} {
		t.Run(name, func(t *testing.T) { seesTheMove(t, program(t)) })
	}
}

// icalendar is the calendar program on the library of Python, which Debian carries.
func icalendar(t *testing.T) []string {
	t.Helper()
	const debian = "/usr/bin/python3"
	if err := exec.CommandContext(t.Context(), debian, "-c", "import icalendar").Run(); err != nil {
		skip(t, "%s with icalendar is missing: %v", debian, err)
	}
	return []string{debian, "testdata/client.py"}
}

func seesTheMove(t *testing.T, program []string) {
	states := map[string]*forecast.Outlook{
		"/1.ics": outlook(noon, map[string][2]forecast.Date{"a": {day(6, 1), day(6, 10)}, "b": {day(6, 5), day(6, 20)}}),
		"/2.ics": outlook(noon.Add(6*time.Hour), map[string][2]forecast.Date{"a": {day(6, 2), day(6, 10)}, "b": {day(6, 5), day(6, 20)}}),
		"/3.ics": outlook(noon.Add(12*time.Hour), map[string][2]forecast.Date{"a": {day(6, 4), day(6, 13)}, "b": {day(6, 5), day(6, 20)}}),
		"/4.ics": outlook(noon.Add(18*time.Hour), map[string][2]forecast.Date{"a": {day(6, 4), day(6, 13)}}),
	}
	var rows []PublishedWindow
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		o := states[r.URL.Path]
		rows, _ = compare(rows, WindowsOf(o, all), o.IssueDate(), o.IssuedAt)
		w.Header().Set("Content-Type", "text/calendar")
		if err := WriteCalendar(w, "Wend", "http://rivers.example.org"+r.URL.Path, []RiverNews{{River: wend, Outlook: o, Windows: Listed(rows, nil, o.IssueDate()), URL: "http://rivers.example.org/river/wend"}}); err != nil {
			t.Error(err)
		}
	}))
	defer server.Close()
	args := slices.Concat(program[1:], []string{server.URL + "/1.ics", server.URL + "/2.ics", server.URL + "/3.ics", server.URL + "/4.ics"})
	out, err := exec.CommandContext(t.Context(), program[0], args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	var got []struct {
		News []struct {
			What, UID, From, End, Status, Summary, Description string
			Sequence                                           int
		}
		Kept    int
		Refresh string
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	if len(got) != 4 || len(got[0].News) != 2 || len(got[1].News) != 0 || len(got[2].News) != 1 || len(got[3].News) != 1 || got[3].Kept != 2 {
		t.Fatalf("the program saw %+v", got)
	}
	moved, cancelled := got[2].News[0], got[3].News[0]
	if moved.What != "moved" || moved.UID != got[0].News[0].UID || moved.From != "2026-06-04" || moved.End != "2026-06-14" {
		t.Errorf("moved: %+v", moved)
	}
	if cancelled.What != "cancelled" || cancelled.UID != got[0].News[1].UID {
		t.Errorf("cancelled: %+v", cancelled)
	}
	if got[0].Refresh != "PT6H" || !strings.Contains(got[0].News[0].Description, forecast.StandingCaution) || !strings.Contains(got[0].News[0].Summary, wend.Name) {
		t.Errorf("refresh %q, %+v", got[0].Refresh, got[0].News[0])
	}
}

// The rules of RFC 4287 that a feed of ours can break, written from sections 3 and 4.
func atomFaults(b []byte) (out []string) {
	var f struct {
		XMLName xml.Name
		ID      []string `xml:"http://www.w3.org/2005/Atom id"`
		Title   []string `xml:"http://www.w3.org/2005/Atom title"`
		Updated []string `xml:"http://www.w3.org/2005/Atom updated"`
		Author  []struct {
			Name []string `xml:"http://www.w3.org/2005/Atom name"`
		} `xml:"http://www.w3.org/2005/Atom author"`
		Link []struct {
			Rel  string `xml:"rel,attr"`
			Type string `xml:"type,attr"`
			Href string `xml:"href,attr"`
		} `xml:"http://www.w3.org/2005/Atom link"`
		Entry []struct {
			ID      []string `xml:"http://www.w3.org/2005/Atom id"`
			Title   []string `xml:"http://www.w3.org/2005/Atom title"`
			Updated []string `xml:"http://www.w3.org/2005/Atom updated"`
			Link    []struct {
				Rel  string `xml:"rel,attr"`
				Type string `xml:"type,attr"`
				Href string `xml:"href,attr"`
			} `xml:"http://www.w3.org/2005/Atom link"`
			Content []struct {
				Type string `xml:"type,attr"`
				Text string `xml:",innerxml"`
			} `xml:"http://www.w3.org/2005/Atom content"`
		} `xml:"http://www.w3.org/2005/Atom entry"`
	}
	fault := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if err := xml.Unmarshal(b, &f); err != nil {
		return []string{err.Error()}
	}
	if f.XMLName.Space != "http://www.w3.org/2005/Atom" || f.XMLName.Local != "feed" {
		fault("the document is a %v", f.XMLName)
	}
	one := func(what, where string, v []string) {
		if len(v) != 1 || strings.TrimSpace(v[0]) == "" {
			fault("%s has %d %s", where, len(v), what)
		}
	}
	moment := func(where string, v []string) {
		one("updated", where, v)
		if len(v) == 1 {
			if _, err := time.Parse(time.RFC3339, v[0]); err != nil {
				fault("%s: %v", where, err)
			}
		}
	}
	one("id", "the feed", f.ID)
	one("title", "the feed", f.Title)
	moment("the feed", f.Updated)
	if len(f.Author) == 0 || len(f.Author[0].Name) != 1 {
		fault("no author, and entries without one")
	}
	self := 0
	for _, l := range f.Link {
		if l.Rel == "self" {
			self++
		}
		if l.Href == "" {
			fault("a link without href")
		}
	}
	if self != 1 {
		fault("%d links to itself", self)
	}
	ids := map[string]bool{}
	for i, e := range f.Entry {
		where := fmt.Sprintf("entry %d", i)
		one("id", where, e.ID)
		one("title", where, e.Title)
		moment(where, e.Updated)
		if len(e.Content) != 1 || e.Content[0].Type != "text" || strings.Contains(e.Content[0].Text, "<") {
			fault("%s: content of type text without child elements", where)
		}
		kinds := map[string]bool{}
		for _, l := range e.Link {
			if kinds[l.Rel+l.Type] {
				fault("%s: two alternate links of one type", where)
			}
			kinds[l.Rel+l.Type] = true
		}
		if len(e.ID) == 1 && ids[e.ID[0]] {
			fault("%s: %s twice", where, e.ID[0])
		}
		if len(e.ID) == 1 {
			ids[e.ID[0]] = true
			if !strings.Contains(e.ID[0], ":") {
				fault("%s: the id is no IRI", where)
			}
		}
	}
	return out
}

func TestTheAtomFeedKeepsTheRulesAndTellsEachChangeOnce(t *testing.T) {
	write := func(rows []PublishedWindow, o *forecast.Outlook) []byte {
		var b bytes.Buffer
		c := wading.Assess(wading.Input{At: noon, Flow: wading.Reading{Value: 9, Age: time.Hour, Present: true}})
		n := RiverNews{River: wend, Outlook: o, Windows: rows, Answer: "Best days: 1 to 3 June.", Caution: c.Format(wading.Metric), URL: "http://rivers.example.org/river/wend"}
		if err := WriteAtom(&b, "http://rivers.example.org/river/wend/feed.atom", "U.S. Geological Survey (public domain)", n, noon); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	o := outlook(noon, map[string][2]forecast.Date{"a": {day(6, 1), day(6, 10)}, "b": {day(6, 5), day(6, 20)}})
	rows, _ := compare(nil, WindowsOf(o, all), day(5, 18), noon)
	feed := write(rows, o)
	if faults := atomFaults(feed); len(faults) > 0 {
		t.Errorf("%v in\n%s", faults, feed)
	}
	if !bytes.Contains(feed, []byte("treat the river as too high until you have seen it")) || bytes.Count(feed, []byte("not a wading forecast")) != 4 {
		t.Errorf("the caution is missing:\n%s", feed)
	}
	if faults := atomFaults(bytes.Replace(feed, []byte("#a.emergence"), []byte("#b.emergence"), 1)); len(faults) != 1 {
		t.Errorf("two entries with one id pass: %v", faults)
	}
	later := outlook(noon.Add(6*time.Hour), map[string][2]forecast.Date{"a": {day(6, 4), day(6, 10)}})
	rows, _ = compare(rows, WindowsOf(later, all), day(5, 18), later.IssuedAt)
	feed = write(rows, later)
	if faults := atomFaults(feed); len(faults) > 0 || !bytes.Contains(feed, []byte("B hatching: no longer expected")) || bytes.Count(feed, []byte("<entry>")) != 3 {
		t.Errorf("%v in\n%s", faults, feed)
	}
	if faults := atomFaults(write(nil, nil)); len(faults) > 0 {
		t.Errorf("an empty feed: %v", faults)
	}
}

// A known, an unknown and an expired caution, at every level.
func cautions() map[string]wading.Caution {
	out := map[string]wading.Caution{"nothing known": wading.Assess(wading.Input{At: noon})}
	for level := wading.Quiet; level <= wading.KeepOut; level++ {
		c := wading.Caution{At: noon, Until: noon.Add(50 * time.Minute), Level: level, Known: true, Flow: wading.Reading{Value: 9.5, Age: 70 * time.Minute, Present: true}}
		out[fmt.Sprintf("known %d", level)] = c
		out[fmt.Sprintf("expired %d", level)] = c.Expired()
	}
	return out
}

func TestTheCautionInCAPEndsWithItsReadingAndNeverSaysAllClear(t *testing.T) {
	now := noon.Add(10 * time.Minute)
	for name, c := range cautions() {
		m := CAPOf(CAPSender{Address: "http://rivers.example.org/"}, wend, c, "http://rivers.example.org/river/wend", now)
		expires, err := time.Parse(time.RFC3339, strings.Replace(m.Info.Expires, "-00:00", "Z", 1))
		if err != nil {
			t.Fatal(err)
		}
		switch {
		case c.Known && expires.After(c.Until):
			t.Errorf("%s: expires %s, after the caution does at %s", name, expires, c.Until)
		case !c.Known && (expires.Before(now) || expires.After(now.Add(unknownFor))):
			t.Errorf("%s: an unknown caution expires %s: it is not published, or for long", name, expires)
		}
		if !c.Known && (m.Info.Certainty != "Unknown" || m.Info.Response != "Avoid" || m.Info.Severity == "Minor" || !strings.Contains(m.Info.Headline, "unknown")) {
			t.Errorf("%s: %+v", name, m.Info)
		}
		if c.Level >= wading.BetterNot && m.Info.Response != "Avoid" {
			t.Errorf("%s: %s", name, m.Info.Response)
		}
		var b bytes.Buffer
		if err := WriteCAP(&b, m); err != nil {
			t.Fatal(err)
		}
		if text := b.String(); strings.Contains(strings.ToLower(text), "allclear") || strings.Contains(strings.ToLower(text), "safe ") || !strings.Contains(text, "not an authority") || !strings.Contains(m.Info.Instruction, "When this message expires the caution level is unknown") ||
			!strings.Contains(text, "not a wading forecast") || m.MsgType != "Alert" {
			t.Errorf("%s:\n%s", name, text)
		}
	}
	if m := CAPOf(CAPSender{Address: "x", Invented: true}, wend, wading.Caution{At: noon}, "", noon); m.Status != "Test" {
		t.Errorf("an invented river is %s", m.Status)
	}
}

func TestTheCautionInCAPKeepsTheSchema(t *testing.T) {
	xmllint, err := exec.LookPath("xmllint")
	if err != nil {
		skip(t, "no xmllint here, so CAP is not held against its schema")
	}
	dir := t.TempDir()
	check := func(name string, b []byte) error {
		path := filepath.Join(dir, name+".xml")
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.CommandContext(t.Context(), xmllint, "--noout", "--nonet", "--schema", "testdata/cap-1.2.xsd", path).CombinedOutput()
		if err != nil {
			return fmt.Errorf("%s: %w\n%s", name, err, out)
		}
		return nil
	}
	for name, c := range cautions() {
		var b bytes.Buffer
		if err := WriteCAP(&b, CAPOf(CAPSender{Address: "http://rivers.example.org/a, b"}, wend, c, "http://rivers.example.org/river/wend", noon)); err != nil {
			t.Fatal(err)
		}
		if err := check(strings.ReplaceAll(name, " ", "-"), b.Bytes()); err != nil {
			t.Error(err)
		}
		for _, wrong := range [][2]string{{"<responseType>Avoid", "<responseType>AllClear"}, {"<msgType>Alert", "<msgType>Fine"}, {"-00:00</expires>", "Z</expires>"}} {
			if x := bytes.Replace(b.Bytes(), []byte(wrong[0]), []byte(wrong[1]), 1); !bytes.Equal(x, b.Bytes()) && check("wrong", x) == nil {
				t.Errorf("the schema lets %s pass", wrong[1])
			}
		}
	}
	var list bytes.Buffer
	m := CAPOf(CAPSender{Address: "x"}, wend, wading.Caution{At: noon}, "", noon)
	if err := WriteCautionList(&list, "http://rivers.example.org/cautions.atom", []CautionLink{{"http://rivers.example.org/river/wend/caution.xml", m}}, noon); err != nil {
		t.Fatal(err)
	}
	if faults := atomFaults(list.Bytes()); len(faults) > 0 {
		t.Errorf("%v in\n%s", faults, list.String())
	}
}
