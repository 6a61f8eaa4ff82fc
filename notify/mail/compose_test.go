package mail

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"

	"example.org/eclose/forecast"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/subscribe"
)

type tokens struct{}

func (tokens) Unsubscribe(p string) string { return "u-" + p }
func (tokens) Manage(p string) string      { return "m-" + p }
func (tokens) Report(r subscribe.Report) string {
	return "r-" + r.Person + "-" + r.River + "-" + r.Group + "-" + r.Stage
}

var site = Site{
	Name: "Eclose", From: "alerts@example.org", ReplyTo: "help@example.org", Bounces: "bounces@example.org",
	URL: "https://eclose.example.org", Tokens: tokens{},
}

var date = time.Date(2026, 6, 6, 5, 12, 3, 0, time.UTC)

const key = "0123456789abcdef0123456789abcdef01234567"

func composer(t testing.TB) *Composer {
	t.Helper()
	c, err := NewComposer(site)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The Wend of the invented Tarn Fells, four weeks round a window.
func wendOutlook() *alert.Outlook {
	o := &alert.Outlook{
		River: "wend", RiverName: "River Wend", Zone: "Europe/London", Issued: date.Add(-time.Hour), CutOff: date.Add(-2 * time.Hour), Seasons: 9,
		WaterC: &alert.Value{V: 12.4, At: date.Add(-90 * time.Minute)}, FlowM3S: &alert.Value{V: 5.21, At: date.Add(-90 * time.Minute)},
		URL: "https://eclose.example.org/rivers/wend",
	}
	s := alert.Stage{
		Group: "blue-winged-olive", Name: "Blue-winged olive", Stage: "emergence", Fishable: true, Grade: "sightings:3",
		From: "2026-06-10", Peak: "2026-06-18", To: "2026-06-28", CalendarFrom: "2026-06-16", CalendarTo: "2026-07-04",
		Hours: forecast.Hours{Spans: []forecast.Span{{From: 18 * 60, To: 21*60 + 30}}}, Tie: []string{"emerger, size 16, olive body, blue-grey wing", "spinner, size 16, sherry"},
	}
	days := make([]forecast.Day, 40)
	for i := range days {
		d := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, i)
		x := float64(i-17) / 7
		y := float64(i-24) / 8
		days[i] = forecast.Day{Date: forecast.DateOf(d), P: 0.74 / (1 + x*x), PCalendar: 0.48 / (1 + y*y)}
	}
	s.Days = forecast.DaysOf(days)
	o.Stages = []alert.Stage{s}
	return o
}

// wendIssued stands in the database for wendOutlook, and wendFile reads it.
var wendIssued = alert.Issued{River: "wend", At: date.Add(-time.Hour), File: "wend", SHA256: "of-wend"}

func wendFile(_ context.Context, i alert.Issued) (*alert.Outlook, error) {
	if i.File != wendIssued.File || i.SHA256 != wendIssued.SHA256 {
		return nil, fmt.Errorf("no file %s", i.File)
	}
	return wendOutlook(), nil
}

func wendReading(level int) *alert.Reading {
	return &alert.Reading{
		River: "wend", RiverName: "River Wend", Zone: "Europe/London", Gauge: "Wend at Fell Bridge (900001)", Until: date.Add(95 * time.Minute), At: date.Add(-25 * time.Minute),
		Level: level, Known: true, Hold: level, Reasons: []string{"depth × speed 0.20 m²/s (2.2 ft²/s)"},
		FlowM3S: &alert.Value{V: 34, At: date.Add(-25 * time.Minute)}, WaterC: &alert.Value{V: 12.4, At: date.Add(-25 * time.Minute)},
	}
}

func letter(items ...alert.EmailItem) alert.Email {
	return alert.Email{
		Key: key, MessageID: key, Thread: "ep-1", Person: "p1", Address: "angler@example.net", Zone: "Europe/London", Units: "metric",
		Kind: "news", Items: items,
	}
}

func open() alert.EmailItem {
	o := wendOutlook()
	return alert.EmailItem{
		Item:    alert.Item{Kind: alert.KindOpen, River: "wend", Group: "blue-winged-olive", Stage: "emergence", From: "2026-06-10", To: "2026-06-28"},
		Outlook: o, About: &o.Stages[0], Caution: wendReading(1),
	}
}

func rise() alert.EmailItem {
	return alert.EmailItem{Item: alert.Item{Kind: alert.KindRise, River: "wend", Level: 3, Was: 1}, Reading: wendReading(3)}
}

// parts returns the leaves of a message by type, decoded, in order.
type part struct {
	kind   string
	params map[string]string
	header map[string][]string
	body   []byte
}

func parse(t testing.TB, raw []byte) (*mail.Message, []part) {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	return m, leaves(t, m.Header["Content-Type"][0], m.Header.Get("Content-Transfer-Encoding"), m.Header, m.Body)
}

func leaves(t testing.TB, contentType, encoding string, header map[string][]string, body io.Reader) []part {
	t.Helper()
	kind, params, err := mime.ParseMediaType(contentType)
	if err != nil {
		t.Fatalf("%s: %v", contentType, err)
	}
	if !strings.HasPrefix(kind, "multipart/") {
		switch strings.ToLower(encoding) {
		case "quoted-printable":
			body = quotedprintable.NewReader(body)
		case "base64":
			body = base64.NewDecoder(base64.StdEncoding, body)
		}
		b, err := io.ReadAll(body)
		if err != nil {
			t.Fatal(err)
		}
		return []part{{kind, params, header, b}}
	}
	out := []part{{kind: kind, params: params}}
	r := multipart.NewReader(body, params["boundary"])
	for {
		p, err := r.NextRawPart()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, leaves(t, p.Header.Get("Content-Type"), p.Header.Get("Content-Transfer-Encoding"), p.Header, p)...)
	}
}

func TestAMailIsTheSameBytesEachTimeAndReadsBack(t *testing.T) {
	l := letter(open())
	a, err := composer(t).Compose(l, date)
	if err != nil {
		t.Fatal(err)
	}
	b, err := composer(t).Compose(l, date)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Raw, b.Raw) {
		t.Error("a retry is not the same bytes")
	}
	if f := os.Getenv("ECLOSE_EML"); f != "" {
		_ = os.WriteFile(f, a.Raw, 0o600)
	}
	m, ps := parse(t, a.Raw)
	for h, want := range map[string]string{
		"Message-Id": "<" + key + "@example.org>", "References": "<ep-1@example.org>", "In-Reply-To": "<ep-1@example.org>",
		"To": "<angler@example.net>", "From": `"Eclose" <alerts@example.org>`, "Reply-To": "<help@example.org>",
		"Date": "Sat, 06 Jun 2026 05:12:03 +0000", "Auto-Submitted": "auto-generated", "X-Auto-Response-Suppress": "All",
		"List-Unsubscribe":      "<https://eclose.example.org/unsubscribe/u-p1>, <mailto:help@example.org?subject=unsubscribe%20u-p1>",
		"List-Unsubscribe-Post": "List-Unsubscribe=One-Click", "List-Id": "<alerts.example.org>", "Mime-Version": "1.0",
		"Subject": "River Wend: Blue-winged olive hatch from 10 Jun. Tie by 9 Jun",
	} {
		if got := m.Header[h]; len(got) != 1 || got[0] != want {
			t.Errorf("%s: %q, want one %q", h, got, want)
		}
	}
	if a.From != "bounces+"+key+"@example.org" || a.To != "angler@example.net" {
		t.Errorf("envelope %s %s", a.From, a.To)
	}
	var kinds []string
	for _, p := range ps {
		kinds = append(kinds, p.kind)
	}
	if got := strings.Join(kinds, " "); got != "multipart/mixed multipart/alternative text/plain text/html text/calendar" {
		t.Errorf("parts %s", got)
	}
	plain := string(ps[2].body)
	for _, want := range []string{
		"River Wend: the Blue-winged olive hatch begins about Wed 10 Jun. Have the flies tied by Tue 9 Jun.",
		"Likely: 74% on the best day, Thu 18 Jun (calendar only:", "Window: 10 to 28 Jun, peak about Thu 18 Jun", "Hours: 18:00 to 21:30",
		"chance, % ", "Tie by Tue 9 Jun:", "size 16, sherry",
		"No gauge has measured the flow of these days yet. Check the caution level before you go: https://eclose.example.org/rivers/wend",
		"Evidence: sightings here (3 seasons). Past seasons at this river: 9", "/unsubscribe/u-p1", "/manage/m-p1", "/report/r-p1-wend-blue-winged-olive-emergence", "/my/r-p1---", "Did you see it? None yet",
	} {
		if !strings.Contains(strings.Join(strings.Fields(plain), " "), strings.Join(strings.Fields(want), " ")) {
			t.Errorf("%q is not in\n%s", want, plain)
		}
	}
	if first, _, _ := strings.Cut(plain, "\n\n"); !strings.Contains(first, "by Tue 9 Jun") {
		t.Errorf("the mail begins with %q", first)
	}
	if html := string(ps[3].body); strings.Contains(html, "<img") || !strings.Contains(html, "<b>68</b>") {
		t.Errorf("the HTML part needs a picture, or does not mark the best day:\n%s", html)
	}
	checkCalendar(t, ps[4])
}

// A caution is as long as the window is near: a line for days far off, the whole of it
// above the fold for today's.
func TestACautionIsAsLongAsTheWindowIsNear(t *testing.T) {
	for days, near := range map[int]bool{-2: true, 0: true, 3: true, 4: false, 30: false} {
		it := open()
		st := *it.About
		st.From = date.AddDate(0, 0, days).Format(time.DateOnly)
		it.About = &st
		m, err := composer(t).Compose(letter(it), date)
		if err != nil {
			t.Fatal(err)
		}
		_, ps := parse(t, m.Raw)
		plain := strings.Join(strings.Fields(string(ps[2].body)), " ")
		if got := strings.Contains(plain, "CAUTION Caution 1 of 3: take care"); got != near {
			t.Errorf("%d days before the window the whole caution stands there: %t", days, got)
		}
		if near != strings.Contains(plain, "does not mean you can wade") || near == strings.Contains(plain, "No gauge has measured the flow of these days yet") {
			t.Errorf("%d days before the window:\n%s", days, plain)
		}
		if head, _, _ := strings.Cut(string(ps[2].body), "CAUTION"); near && strings.Count(head, "\n") > 8 {
			t.Errorf("the caution is not above the fold:\n%s", plain)
		}
	}
}

func TestOneMailOfSeveralRiversSaysFirstWhatChanged(t *testing.T) {
	a, b := open(), open()
	o := *b.Outlook
	o.River, o.RiverName = "garrow", "Garrow"
	b.Outlook, b.River = &o, "garrow"
	b.Kind, b.WasFrom, b.WasTo = alert.KindMoved, "2026-06-14", "2026-07-02"
	again := open()
	m, err := composer(t).Compose(letter(rise(), a, again, b), date)
	if err != nil {
		t.Fatal(err)
	}
	if n := utf8.RuneCountInString(m.Subject); n >= 65 || !strings.HasPrefix(m.Subject, "River Wend: keep out of the water") || !strings.HasSuffix(m.Subject, "more") {
		t.Errorf("subject of %d characters: %q", n, m.Subject)
	}
	_, ps := parse(t, m.Raw)
	plain := strings.Join(strings.Fields(string(ps[2].body)), " ")
	for _, want := range []string{"4 things changed: - River Wend: keep out of the water - River Wend: Blue-winged olive hatch from 10 Jun", "- Garrow: Blue-winged olive hatch 4 days earlier, from 10 Jun", "4 days earlier than our last email said. Have the flies tied by Tue 9 Jun."} {
		if !strings.Contains(plain, want) {
			t.Errorf("%q is not in\n%s", want, plain)
		}
	}
}

func checkCalendar(t *testing.T, p part) {
	t.Helper()
	if p.params["method"] != "PUBLISH" {
		t.Errorf("calendar type %v", p.params)
	}
	if strings.Contains(strings.ReplaceAll(string(p.body), "\r\n", ""), "\n") {
		t.Error("the calendar has a bare line feed")
	}
	for l := range strings.SplitSeq(string(p.body), "\r\n") {
		if len(l) > 75 || !utf8.ValidString(l) {
			t.Errorf("%d octets, or a cut character: %q", len(l), l)
		}
	}
	cal, err := ics.ParseCalendar(bytes.NewReader(p.body))
	if err != nil || len(cal.Events()) != 1 {
		t.Fatalf("calendar %v", err)
	}
	e := cal.Events()[0]
	at, err := e.GetAllDayEndAt()
	if e.Id() != "wend.blue-winged-olive.emergence.2026@eclose" || err != nil || at.Format(time.DateOnly) != "2026-06-29" {
		t.Errorf("event %s ends %s (%v)", e.Id(), at, err)
	}
	if s := e.GetProperty(ics.ComponentPropertySummary).Value; !strings.Contains(s, "estimate") {
		t.Errorf("summary %q", s)
	}
}

func TestEveryKindOfMailIsWordedHonestly(t *testing.T) {
	o := wendOutlook()
	moved := open()
	moved.Kind, moved.WasFrom, moved.WasTo = alert.KindMoved, "2026-06-16", "2026-07-02"
	closed := open()
	closed.Kind, closed.WasFrom, closed.WasTo = alert.KindClosed, "2026-06-10", "2026-06-28"
	warm := open()
	hot := *o
	hot.Heat = "the water reached 21.4 °C (71 °F) yesterday: stop fishing for trout"
	warm.Outlook = &hot
	ahead := open()
	warmer := *o
	warmer.HeatAhead = "modelled, not measured, for the day's warmest hour: water at 21.4 °C (71 °F): stop fishing for trout"
	ahead.Outlook = &warmer
	near := func() alert.EmailItem { // its window opens in two days
		it := open()
		st := *it.About
		st.From = "2026-06-08"
		it.About = &st
		return it
	}
	unseen := near()
	unseen.Caution = nil
	old := near()
	old.Caution = wendReading(0)
	old.Caution.At, old.Caution.Until = date.Add(-8*time.Hour), date.Add(-6*time.Hour)
	weeks := open()
	later := *weeks.About
	later.From, later.To, later.Dark = "2026-06-27", "2026-07-09", "Some of these hours fall in dusk: leave while you still see the bed and the way out. Caution at least 1 then: take care."
	weeks.About = &later
	item := func(kind string, level, was int) alert.EmailItem {
		return alert.EmailItem{Item: alert.Item{Kind: kind, River: "wend", Level: level, Was: was, Since: date.Add(-5 * time.Hour).UnixMicro()}, Reading: wendReading(level)}
	}
	unheard := item(alert.KindNoData, 2, 2)
	unheard.Reading.Known, unheard.Reading.Unwarned = false, true
	for _, tc := range []struct {
		what, subject, text string
		it                  alert.EmailItem
	}{
		{"a rise", "River Wend: keep out of the water. 34.0 m³/s at 05:47", "The caution rose from 1 to 3.", rise()},
		{"a fall", "River Wend: caution down from 3 to 1. 34.0 m³/s", "Our last alert was caution 3. Now: take care.", item(alert.KindFall, 1, 3)},
		{"a clear", "River Wend: caution down from 2 to 0", "nothing at this gauge calls for more than the usual care", item(alert.KindClear, 0, 2)},
		{"a standing level 3", "River Wend: still keep out of the water", "Last alert sent 01:12 BST", item(alert.KindStillHigh, 3, 3)},
		{"quick changes", "River Wend: changing quickly, better not to wade", "until it has been steady for 12 hours", item(alert.KindFlapping, 2, 1)},
		{"no data", "River Wend: no reading, caution level unknown", "Missing data does not lower it", item(alert.KindNoData, 2, 2)},
		{"a warning service that is silent", "River Wend: official warnings and caution level unknown", "official warnings unknown since", unheard},
		{"a window moved", "River Wend: Blue-winged olive hatch 6 days earlier, from 10 Jun", "6 days earlier than our last email said. Have the flies tied by Tue 9 Jun. Likely: 74% on the best day, Thu 18 Jun", moved},
		{"a window closed", "River Wend: Blue-winged olive hatch is over", "has closed (was ", closed},
		{"warm water", "Too warm for trout. River Wend", "WARM WATER: the water reached 21.4", warm},
		{"warm water by the model only", "Maybe too warm for trout. River Wend", "WARM WATER: modelled, not measured", ahead},
		{"no caution known", "River Wend: Blue-winged olive", "Caution level unknown: no flow caution for this river", unseen},
		{"a window weeks off", "River Wend: Blue-winged olive", "No gauge has measured the flow of these days yet. Check the caution level before you go: https://eclose.example.org/rivers/wend Local notices", weeks},
		{"hours that reach into the dusk", "River Wend: Blue-winged olive", "Light: Some of these hours fall in dusk", weeks},
		{"a caution says until when", "River Wend: Blue-winged olive", "after that the caution level is unknown.", near()},
		{"an old caution", "River Wend: Blue-winged olive", "Caution level unknown: it was 0 of 3 at the last reading (22:12 BST on Fri 5 Jun 2026)", old},
	} {
		t.Run(tc.what, func(t *testing.T) {
			m, err := composer(t).Compose(letter(tc.it), date)
			if err != nil {
				t.Fatal(err)
			}
			if !strings.HasPrefix(m.Subject, tc.subject) {
				t.Errorf("subject %q", m.Subject)
			}
			_, ps := parse(t, m.Raw)
			for _, p := range ps {
				if p.kind != "text/plain" && p.kind != "text/html" {
					continue
				}
				body := string(p.body)
				if p.kind == "text/plain" && !strings.Contains(strings.Join(strings.Fields(body), " "), tc.text) {
					t.Errorf("%q is not in\n%s", tc.text, body)
				}
				for _, bad := range []string{"safe", "green", "NaN", "%!", "<nil>", "!"} {
					if p.kind == "text/html" && bad == "!" {
						continue
					}
					if strings.Contains(strings.ToLower(body), strings.ToLower(bad)) {
						t.Errorf("%q stands in\n%s", bad, body)
					}
				}
				if !strings.Contains(body, "own eyes") {
					t.Errorf("nothing is said of the reader's own eyes:\n%s", body)
				}
			}
		})
	}
}

func TestNothingFromOutsideBecomesAHeader(t *testing.T) {
	evil := "Wend\r\nBcc: victim@example.net\r\n\r\n=?utf-8?q?=0d=0aBcc:=20x@example.net?= \"q\", \u202eabc"
	it := open()
	it.Outlook.RiverName = evil
	it.About.Name = evil
	it.About.Hours = forecast.Hours{BySun: evil}
	it.About.Tie = []string{evil, ".\r\n.\r\n"}
	it.Outlook.Notices = evil
	it.Caution.Gauge = evil
	r := rise()
	r.Reading.RiverName = evil
	for _, l := range []alert.Email{letter(it, r), letter(r, it)} {
		m, err := composer(t).Compose(l, date)
		if err != nil {
			t.Fatal(err)
		}
		p, _ := parse(t, m.Raw)
		if p.Header.Get("Bcc") != "" {
			t.Fatalf("a header came in:\n%s", m.Raw)
		}
		subject, err := new(mime.WordDecoder).DecodeHeader(p.Header.Get("Subject"))
		if err != nil || strings.ContainsAny(subject, "\r\n\x00\u202e") {
			t.Errorf("subject %q, %v", subject, err)
		}
	}
	for _, to := range []string{"a@example.org\r\nRCPT TO:<b@example.org>", "Name <a@example.org>", "a@example.org, b@example.org", ""} {
		l := letter(open())
		l.Address = to
		if _, err := composer(t).Compose(l, date); err == nil {
			t.Errorf("%q was taken for an address", to)
		} else if to != "" && strings.Contains(err.Error(), to) {
			t.Errorf("the address stands in the error: %v", err)
		}
	}
	l := letter(open())
	l.Key = "x\r\ny"
	if _, err := composer(t).Compose(l, date); err == nil {
		t.Error("a key with a line break was taken")
	}
}

func TestASubjectThatIsTooLongDropsItsReadingFirst(t *testing.T) {
	it := rise()
	it.Reading.RiverName = "St. Anne's Beck at the upper mill bridge"
	w := words{date: date, zone: time.UTC}
	if got := w.subject([]alert.EmailItem{it}); got != "St. Anne's Beck at the upper mill bridge: keep out of the water" {
		t.Errorf("alone %q", got)
	}
	if got := w.shortSubject(it); !strings.HasPrefix(got, "St. Anne's Beck at the upper mill bridge: keep") || strings.Contains(got, "m³/s") {
		t.Errorf("one of several %q", got)
	}
}

func TestLongSubjectsAndLinesFold(t *testing.T) {
	it := open()
	it.About.Name = strings.Repeat("Žluťásek ďábelský ", 20)
	it.Caution.Reasons = []string{strings.Repeat("x", 1500), "." + strings.Repeat(" word", 400)}
	m, err := composer(t).Compose(letter(it), date)
	if err != nil {
		t.Fatal(err)
	}
	if n := utf8.RuneCountInString(m.Subject); n >= 65 || n < subjectRunes-10 {
		t.Errorf("subject of %d characters", n)
	}
	for i, l := range strings.Split(string(m.Raw), "\r\n") {
		if len(l) > 78 {
			t.Errorf("line %d has %d octets: %.100q", i+1, len(l), l)
		}
		if strings.ContainsAny(l, "\r\n") {
			t.Errorf("line %d has a bare line break: %q", i+1, l)
		}
	}
	head, _, _ := strings.Cut(string(m.Raw), "\r\n\r\n")
	for w := range strings.FieldsSeq(head) {
		if strings.HasPrefix(w, "=?") && len(w) > 75 {
			t.Errorf("encoded word of %d", len(w))
		}
	}
	p, _ := parse(t, m.Raw)
	if s, err := new(mime.WordDecoder).DecodeHeader(p.Header.Get("Subject")); err != nil || s != m.Subject {
		t.Errorf("subject came back as %q (%v), want %q", s, err, m.Subject)
	}
}

func TestAnInvitationHoldsTheLinkAndNothingTyped(t *testing.T) {
	inv := subscribe.Invitation{Address: "new@example.net", Token: "tok-123", Expires: date.Add(48 * time.Hour), Request: subscribe.Request{Subscriptions: []subscribe.Subscription{{River: "wend"}}}}
	m, err := composer(t).Invite(inv, date)
	if err != nil {
		t.Fatal(err)
	}
	p, ps := parse(t, m.Raw)
	if !strings.Contains(string(ps[1].body), "https://eclose.example.org/confirm/tok-123") {
		t.Errorf("no link in\n%s", ps[1].body)
	}
	if strings.Contains(fmt.Sprint(p.Header, m.From), "tok-123") {
		t.Error("the token stands in the head or the envelope, where relays log it")
	}
}

func TestASiteIsChecked(t *testing.T) {
	for _, change := range []func(*Site){
		func(s *Site) { s.From = "Eclose <a@example.org>" }, func(s *Site) { s.URL = "http://example.org" },
		func(s *Site) { s.Tokens = nil }, func(s *Site) { s.Bounces = "nobody" },
	} {
		s := site
		change(&s)
		if _, err := NewComposer(s); err == nil {
			t.Errorf("%+v was taken", s)
		}
	}
}

func BenchmarkCompose(b *testing.B) {
	c := composer(b)
	l := letter(open())
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Compose(l, date); err != nil {
			b.Fatal(err)
		}
	}
}
