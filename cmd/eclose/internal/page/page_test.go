package page

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"example.org/eclose/model/wading"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
	"example.org/eclose/notify/subscribe"
)

var paths = []string{
	"/", "/?group=skwala", "/river/wend", "/river/wend/season", "/river/garrow", "/river/odd/season", "/diary/new?river=wend&group=skwala&stage=emergence&amount=few&date=2026-05-17", "/river/odd", "/river/dry", "/river/wend/water", "/river/odd/water", "/river/wend/day/2026-05-18", "/river/odd/day/2026-07-01",
	"/trip", "/trip?from=2026-06-01&to=2026-07-12&days=3", "/trip?from=2026-06-01&to=2026-07-12&days=2&river=odd&group=pale-morning-dun", "/trip?from=x&to=y",
	"/record", "/data", "/about", "/help", "/subscribe", "/subscribe?river=wend&group=skwala", "/subscribe/asked", "/diary", "/diary/new", "/diary/new?river=odd", "/enter",
	"/unsubscribe/x", "/never/x", "/confirm/x",
}

var unwanted = regexp.MustCompile(`(?i)\bsafe\b`)

func TestEveryPageIsWholeLightAndHasNoStyleOrScriptThatThePolicyDoesNotName(t *testing.T) {
	w := newWorld(t, nil)
	for _, p := range paths {
		rec := w.get(p)
		body := rec.Body.String()
		if rec.Code != http.StatusOK && p != "/confirm/x" {
			t.Errorf("%s: %d", p, rec.Code)
		}
		if n := len(body); n > 150_000 {
			t.Errorf("%s weighs %d bytes", p, n)
		}
		csp := rec.Header().Get("Content-Security-Policy")
		if csp == "" || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: policy %q", p, csp)
		}
		if unwanted.MatchString(body) {
			t.Errorf("%s uses the word that is never printed of water: %s", p, unwanted.FindString(body))
		}
		doc, err := html.Parse(strings.NewReader(body))
		if err != nil {
			t.Fatalf("%s: %v", p, err)
		}
		ids, h1, styles := map[string]bool{}, 0, 0
		for n := range doc.Descendants() {
			if n.Type != html.ElementNode {
				continue
			}
			switch n.Data {
			case "h1":
				h1++
			case "style":
				styles++
				sum := sha256.Sum256([]byte(n.FirstChild.Data))
				if want := "style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "';"; !strings.Contains(csp, want) {
					t.Errorf("%s has a style that its policy does not name: %s lacks %s", p, csp, want)
				}
			case "script":
				if src := attr(n, "src"); !strings.HasPrefix(src, "/assets/") || n.FirstChild != nil {
					t.Errorf("%s has a script of its own: %q", p, src)
				}
				if !slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == "defer" }) {
					t.Errorf("%s waits for its script before it is shown", p)
				}
			case "link":
				if attr(n, "rel") == "stylesheet" {
					t.Errorf("%s waits for a style", p)
				}
			case "form":
				if strings.EqualFold(attr(n, "method"), "post") && !strings.HasPrefix(p, "/unsubscribe") && !strings.HasPrefix(p, "/never") && !hasMark(n) {
					t.Errorf("%s has a form without a mark", p)
				}
			case "img", "iframe", "object", "embed", "base":
				t.Errorf("%s has a %s", p, n.Data)
			}
			for _, a := range n.Attr {
				if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
					t.Errorf("%s: %s on %s", p, a.Key, n.Data)
				}
				if a.Key == "id" {
					if ids[a.Val] {
						t.Errorf("%s: two elements are %q", p, a.Val)
					}
					ids[a.Val] = true
				}
				if a.Key == "href" && strings.Contains(a.Val, "://") || a.Key == "href" && strings.HasPrefix(a.Val, "//") {
					t.Errorf("%s leads away: %s", p, a.Val)
				}
			}
		}
		if styles != 1 {
			t.Errorf("%s has %d styles", p, styles)
		}
		if h1 != 1 {
			t.Errorf("%s has %d first headings", p, h1)
		}
	}
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func hasMark(form *html.Node) bool {
	for n := range form.Descendants() {
		if n.Data == "input" && attr(n, "name") == "mark" && attr(n, "value") != "" {
			return true
		}
	}
	return false
}

func TestHostileNamesStayText(t *testing.T) {
	w := newWorld(t, nil)
	if _, err := w.diary.Add(context.Background(), diary.Sighting{Day: noon.AddDate(-1, 0, 0).Truncate(24 * 3600 * 1e9), River: "odd", Group: "skwala", Stage: diary.Emergence, Amount: diary.Few, Hours: 1, Notes: hostile, Observer: "<b>Me</b>"}); err != nil {
		t.Fatal(err)
	}
	q := url.QueryEscape(hostile)
	for _, p := range []string{"/", "/?group=" + q, "/river/odd", "/river/odd/season", "/river/odd/water", "/river/odd/day/2026-07-01", "/diary", "/diary/new", "/data", "/trip?from=2026-06-01&to=2026-07-12&river=odd", "/record", "/subscribe",
		"/trip?from=" + q, "/trip?from=2026-06-01&to=2026-07-12&group=" + q + "&days=" + q + "&river=" + q, "/subscribe?river=" + q + "&group=" + q, "/diary/new?river=" + q + "&group=" + q + "&stage=" + q, "/enter?to=" + q, "/" + url.PathEscape(hostile), "/river/odd/sheet.html"} {
		body := w.get(p).Body.String()
		if strings.Contains(body, "<script>alert") || strings.Contains(body, "<b>Me</b>") || strings.Contains(body, "<here>") {
			t.Errorf("%s lets markup through", p)
		}
	}
	if body := w.get("/diary").Body.String(); !strings.Contains(body, "&lt;script&gt;alert(1)") {
		t.Error("the notes are not shown as they were written")
	}
	if rec := w.get("/record/report.html"); !strings.HasPrefix(rec.Header().Get("Content-Disposition"), "attachment") {
		t.Error("a report in HTML must be saved, not shown")
	}
}

func TestWhatIsNotHereIsNotFound(t *testing.T) {
	w := newWorld(t, nil)
	for _, p := range []string{"/river/none", "/river/wend/day/2026-02-30", "/river/wend/day/2031-01-01", "/river/dry/water", "/x", "/assets/none.css", "/record/none.txt", "/record/..%2Fsecret.txt", "/record/.hidden.txt", "/trip.ics", "/manage/x", "/river/wend/day/"} {
		if rec := w.get(p); rec.Code != http.StatusNotFound {
			t.Errorf("%s: %d, want 404", p, rec.Code)
		}
	}
}

func TestKeptPagesAreAskedForByTheirTag(t *testing.T) {
	w := newWorld(t, nil)
	first := w.get("/river/wend")
	r := httptest.NewRequest(http.MethodGet, "/river/wend", nil)
	r.Header.Set("If-None-Match", first.Header().Get("ETag"))
	if rec := w.ask(r); rec.Code != http.StatusNotModified || rec.Body.Len() != 0 {
		t.Errorf("%d with %d bytes, want 304", rec.Code, rec.Body.Len())
	}
	us := w.get("/river/wend/water?units=us")
	if !strings.Contains(us.Body.String(), "53 °F") && !strings.Contains(us.Body.String(), "52 °F") {
		t.Error("US units show no °F")
	}
	if metric := w.get("/river/wend/water"); metric.Body.String() == us.Body.String() {
		t.Error("the page in one kind of units was given to a reader of the other")
	}
}

func TestFormsFromElsewhereAreRefused(t *testing.T) {
	w := newWorld(t, nil)
	page := w.get("/subscribe")
	mark, cookies := markOf(t, page.Body.String()), page.Result().Cookies()
	good := url.Values{"mark": {mark}, "address": {"ann@example.org"}, "river": {"wend"}, "cadence": {"now"}, "units": {"metric"}}
	for _, x := range []struct {
		name   string
		change func(*http.Request, url.Values)
		want   int
	}{
		{"as it should be", nil, http.StatusSeeOther},
		{"no mark", func(_ *http.Request, v url.Values) { v.Del("mark") }, http.StatusForbidden},
		{"a made-up mark", func(_ *http.Request, v url.Values) { v.Set("mark", strings.Repeat("A", len(mark))) }, http.StatusForbidden},
		{"no cookie", func(r *http.Request, _ url.Values) { r.Header.Del("Cookie") }, http.StatusForbidden},
		{"another browser's cookie", func(r *http.Request, _ url.Values) {
			r.Header.Set("Cookie", formCookie+"="+strings.Repeat("A", 22))
		}, http.StatusForbidden},
		{"sent by another site", func(r *http.Request, _ url.Values) { r.Header.Set("Sec-Fetch-Site", "cross-site") }, http.StatusForbidden},
		{"of another origin", func(r *http.Request, _ url.Values) { r.Header.Set("Origin", "https://evil.example") }, http.StatusForbidden},
		{"more than is taken", func(_ *http.Request, v url.Values) { v.Set("x", strings.Repeat("a", maxBody)) }, http.StatusRequestEntityTooLarge},
	} {
		r := httptest.NewRequest(http.MethodPost, "/subscribe", nil)
		for _, c := range cookies {
			r.AddCookie(c)
		}
		v := url.Values{}
		for k, s := range good {
			v[k] = slices.Clone(s)
		}
		if x.change != nil {
			x.change(r, v)
		}
		body := httptest.NewRequest(http.MethodPost, "/subscribe", strings.NewReader(v.Encode()))
		body.Header = r.Header
		body.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if rec := w.ask(body); rec.Code != x.want {
			t.Errorf("%s: %d, want %d", x.name, rec.Code, x.want)
		}
	}
}

func TestSizesMethodsAndRatesAreBounded(t *testing.T) {
	w := newWorld(t, func(o *Options) { o.PerSecond = 2 })
	if rec := w.get("/" + strings.Repeat("a", maxURL)); rec.Code != http.StatusRequestURITooLong {
		t.Errorf("a long address: %d", rec.Code)
	}
	if rec := w.ask(httptest.NewRequest(http.MethodDelete, "/", nil)); rec.Code != http.StatusMethodNotAllowed {
		t.Errorf("DELETE: %d", rec.Code)
	}
	refused := false
	for range 30 {
		refused = refused || w.get("/about").Code == http.StatusTooManyRequests
	}
	if !refused {
		t.Error("thirty requests at once from one network were all served")
	}
	other := httptest.NewRequest(http.MethodGet, "/about", nil)
	other.RemoteAddr = "198.51.100.7:1"
	if rec := w.ask(other); rec.Code != http.StatusOK {
		t.Errorf("another network pays for the first: %d", rec.Code)
	}
}

// stuck is Data whose answers come much too late.
type stuck struct{ Data }

func (stuck) Feeds(ctx context.Context) ([]Feed, error) {
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-time.After(5 * time.Second):
		return nil, nil
	}
}

func TestAPageThatTakesTooLongIsGivenUp(t *testing.T) {
	w := newWorld(t, func(o *Options) { o.Timeout, o.Data = 50*time.Millisecond, stuck{o.Data} })
	if rec := w.get("/data"); rec.Code != http.StatusServiceUnavailable || !strings.Contains(rec.Body.String(), "took too long") {
		t.Errorf("%d %q", rec.Code, rec.Body)
	}
	if rec := w.get("/about"); rec.Code != http.StatusOK {
		t.Errorf("the others wait with it: %d", rec.Code)
	}
}

func TestOnlyTheOwnerReadsAndWritesTheDiary(t *testing.T) {
	w := newWorld(t, func(o *Options) { o.Secret = "sedge and dun" })
	away := func(r *http.Request) { r.RemoteAddr, r.Host = "198.51.100.7:1", "rivers.example.org" }
	for _, x := range []struct {
		name string
		set  func(*http.Request)
		want int
	}{
		{"this machine", func(*http.Request) {}, http.StatusOK},
		{"a stranger", away, http.StatusSeeOther},
		{"through a proxy on this machine", func(r *http.Request) {
			r.RemoteAddr, r.Host = "127.0.0.1:9", "127.0.0.1:8437"
			r.Header.Set("X-Forwarded-For", "198.51.100.7")
		}, http.StatusSeeOther},
		{"under a name that was turned to this machine", func(r *http.Request) { r.RemoteAddr, r.Host = "127.0.0.1:9", "evil.example" }, http.StatusSeeOther},
		{"with a made-up cookie", func(r *http.Request) {
			away(r)
			r.AddCookie(&http.Cookie{Name: ownerCookie, Value: "99999999999.abc"})
		}, http.StatusSeeOther},
	} {
		for _, p := range []string{"/diary", "/diary/new"} {
			r := httptest.NewRequest(http.MethodGet, p, nil)
			x.set(r)
			rec := w.ask(r)
			if rec.Code != x.want {
				t.Errorf("%s at %s: %d, want %d", x.name, p, rec.Code, x.want)
			}
			if to := rec.Header().Get("Location"); x.want == http.StatusSeeOther && to != "/enter?to="+url.QueryEscape(p) {
				t.Errorf("%s is sent to %q", x.name, to)
			}
		}
	}
	// A stranger with a true mark still may not write.
	page := httptest.NewRequest(http.MethodGet, "/enter", nil)
	away(page)
	got := w.ask(page)
	send := func(path, fields string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(http.MethodPost, path, strings.NewReader("mark="+markOf(t, got.Body.String())+"&"+fields))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		for _, c := range got.Result().Cookies() {
			r.AddCookie(c)
		}
		away(r)
		return w.ask(r)
	}
	if rec := send("/diary", "river=wend"); rec.Code != http.StatusForbidden {
		t.Errorf("a stranger writes: %d", rec.Code)
	}
	if rec := send("/enter", "secret=wrong&to=/diary"); rec.Code != http.StatusForbidden || len(rec.Result().Cookies()) != 0 {
		t.Errorf("a wrong secret: %d", rec.Code)
	}
	rec := send("/enter", "secret=sedge+and+dun&to=https://evil.example/")
	if rec.Code != http.StatusSeeOther || rec.Header().Get("Location") != "/" {
		t.Errorf("the right secret: %d to %q", rec.Code, rec.Header().Get("Location"))
	}
	r := httptest.NewRequest(http.MethodGet, "/diary", nil)
	away(r)
	for _, c := range rec.Result().Cookies() {
		r.AddCookie(c)
	}
	if rec := w.ask(r); rec.Code != http.StatusOK {
		t.Errorf("the owner from elsewhere: %d", rec.Code)
	}
}

func TestASightingIsWrittenOnceHoweverOftenItsFormArrives(t *testing.T) {
	w := newWorld(t, nil)
	before := w.get("/river/wend/season").Header().Get("ETag")
	const fields = "nonce=0123456789abcdef01234567&river=wend&group=western-green-drake&stage=egg-laying&date=2025-07-02&hours=1,5&amount=many&water=52&unit=%C2%B0F"
	for range 3 {
		if rec := w.post(t, "/diary/new", "/diary", fields); rec.Code != http.StatusSeeOther || rec.Header().Get("Location") != "/diary?added=1" {
			t.Fatalf("%d to %q\n%s", rec.Code, rec.Header().Get("Location"), rec.Body)
		}
	}
	list, err := w.diary.List(context.Background(), diary.Filter{})
	if err != nil || len(list) != 1 {
		t.Fatalf("%d sightings, %v", len(list), err)
	}
	if x := list[0]; x.Hours != 1.5 || x.Amount != diary.Many || x.WaterC == nil || fmt.Sprintf("%.2f", *x.WaterC) != "11.11" {
		t.Errorf("written %+v", x)
	}
	if after := w.get("/river/wend/season"); after.Header().Get("ETag") == before || !strings.Contains(after.Body.String(), "seen 2025: 2 Jul") {
		t.Error("the season does not show what was seen")
	}
	if rec := w.post(t, "/diary", "/diary/withdraw", "id="+list[0].ID); rec.Code != http.StatusSeeOther {
		t.Errorf("taking out: %d", rec.Code)
	}
	if list, _ := w.diary.List(context.Background(), diary.Filter{}); len(list) != 0 {
		t.Error("the sighting is still there")
	}
}

func TestASightingThatCannotBeIsToldFieldByField(t *testing.T) {
	w := newWorld(t, nil)
	for name, x := range map[string][2]string{
		"no amount":         {"nonce=0123456789abcdef01234567&river=wend&group=skwala&stage=emergence&date=2026-05-02&hours=1", "Amount"},
		"of the future":     {"nonce=0123456789abcdef01234567&river=wend&group=skwala&stage=emergence&date=2026-08-02&hours=1&amount=few", "future"},
		"an unknown river":  {"nonce=0123456789abcdef01234567&river=none&group=skwala&stage=emergence&date=2026-05-02&hours=1&amount=few", "River"},
		"an unknown group":  {"nonce=0123456789abcdef01234567&river=wend&group=%3Cb%3E&stage=emergence&date=2026-05-02&hours=1&amount=few", "Insect: choose"},
		"hours in letters":  {"nonce=0123456789abcdef01234567&river=wend&group=skwala&stage=emergence&date=2026-05-02&hours=two&amount=few", "Hours"},
		"NaN hours":         {"nonce=0123456789abcdef01234567&river=wend&group=skwala&stage=emergence&date=2026-05-02&hours=NaN&amount=few", "Hours"},
		"boiling":           {"nonce=0123456789abcdef01234567&river=wend&group=skwala&stage=emergence&date=2026-05-02&hours=1&amount=few&water=100", "Water"},
		"a form half there": {"river=wend&group=skwala&stage=emergence&date=2026-05-02&hours=1&amount=few", "form"},
	} {
		rec := w.post(t, "/diary/new", "/diary", x[0])
		if rec.Code != http.StatusUnprocessableEntity || !strings.Contains(rec.Body.String(), `role="alert"`) || !strings.Contains(rec.Body.String(), x[1]) {
			t.Errorf("%s: %d", name, rec.Code)
		}
	}
	if list, _ := w.diary.List(context.Background(), diary.Filter{}); len(list) != 0 {
		t.Errorf("%d were written all the same", len(list))
	}
}

func TestSubscribeConfirmUnsubscribe(t *testing.T) {
	w := newWorld(t, nil)
	const fields = "address=ann%40example.org&river=wend&group=skwala&threshold=0.66&cadence=digest&cautions=1&units=us"
	first := w.post(t, "/subscribe", "/subscribe", fields)
	again := w.post(t, "/subscribe", "/subscribe", fields)
	if first.Code != http.StatusSeeOther || again.Code != first.Code || again.Header().Get("Location") != first.Header().Get("Location") {
		t.Errorf("the answer tells whether an address is known: %d, %d", first.Code, again.Code)
	}
	sent := w.invitations()
	if len(sent) != 1 {
		t.Fatalf("%d invitations, want one in a day", len(sent))
	}
	link := "/confirm/" + sent[0].Token
	for range 2 { // link scanners open every link
		if rec := w.get(link); rec.Code != http.StatusOK {
			t.Fatalf("the link: %d", rec.Code)
		}
	}
	if people, _ := w.subs.List(context.Background()); len(people) != 0 {
		t.Fatal("somebody is subscribed without a press of the button")
	}
	rec := w.post(t, link, link, "")
	manage := rec.Header().Get("Location")
	if rec.Code != http.StatusSeeOther || !strings.HasPrefix(manage, "/manage/") {
		t.Fatalf("confirming: %d to %q", rec.Code, manage)
	}
	people, err := w.subs.List(context.Background())
	if err != nil || len(people) != 1 || people[0].Address != "ann@example.org" || people[0].Units != subscribe.US || people[0].Subscriptions[0].Threshold != 0.66 || people[0].Subscriptions[0].Cadence != subscribe.Digest {
		t.Fatalf("%+v, %v", people, err)
	}
	resume := func() bool { return strings.Contains(w.get(manage).Body.String(), `value="resume"`) }
	if rec := w.get(manage); rec.Code != http.StatusOK || !strings.Contains(rec.Body.String(), "ann@example.org") || resume() {
		t.Errorf("managing: %d, to resume is offered: %v", rec.Code, resume())
	}
	w.post(t, manage, strings.TrimSuffix(manage, "?new=1"), "do=pause")
	if !resume() {
		t.Error("paused, and no button resumes")
	}
	w.post(t, manage, strings.TrimSuffix(manage, "?new=1"), "do=resume")
	if rec := w.post(t, manage, strings.TrimSuffix(manage, "?new=1"), "do=take"); rec.Code != http.StatusOK || !strings.Contains(rec.Body.String(), "ann@example.org") || rec.Header().Get("Content-Type") != "application/json" {
		t.Errorf("taking one's data: %d", rec.Code)
	}
	stop := "/unsubscribe/" + w.subs.Links.Unsubscribe(people[0].ID)
	w.get(stop)
	if people, _ = w.subs.List(context.Background()); people[0].State != "active" {
		t.Fatal("opening the link unsubscribes: a link scanner would")
	}
	// RFC 8058: the mail provider posts, from elsewhere, without any cookie.
	r := httptest.NewRequest(http.MethodPost, stop, strings.NewReader("List-Unsubscribe=One-Click"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", "https://mail.example")
	r.RemoteAddr = "203.0.113.9:1"
	if rec := w.ask(r); rec.Code != http.StatusOK {
		t.Fatalf("one click: %d", rec.Code)
	}
	if people, _ = w.subs.List(context.Background()); people[0].State == "active" {
		t.Error("still subscribed")
	}
	if rec := w.post(t, manage, strings.TrimSuffix(manage, "?new=1"), "do=delete"); rec.Code != http.StatusOK {
		t.Errorf("deleting: %d", rec.Code)
	}
	if people, _ = w.subs.List(context.Background()); len(people) != 0 {
		t.Error("the person is still kept")
	}
}

func TestCalendarOfATripIsSaved(t *testing.T) {
	w := newWorld(t, nil)
	rec := w.get("/trip.ics?from=2026-06-01&to=2026-07-12&days=3")
	if rec.Code != http.StatusOK || !strings.HasPrefix(rec.Body.String(), "BEGIN:VCALENDAR\r\n") || !strings.Contains(rec.Header().Get("Content-Disposition"), "trip.ics") {
		t.Errorf("%d, %q", rec.Code, rec.Body.String()[:40])
	}
}

// A forecast holds codes; pages show their words.
func TestPagesPutCodesIntoWords(t *testing.T) {
	w := newWorld(t, nil)
	for _, p := range []string{"/river/wend", "/river/wend/season", "/river/wend/sheet.html", "/data"} {
		body := w.get(p).Body.String()
		if !strings.Contains(body, "driven by air temperature and flow. Weather ahead: past seasons") || strings.Contains(body, "air+flow") || strings.Contains(body, "past-seasons") {
			t.Errorf("%s shows codes for words", p)
		}
	}
}

func FuzzWithinNeverLeads(f *testing.F) {
	for _, s := range []string{"/", "/diary", "//evil.example", "https://evil.example", `/\evil.example`, "/\t/evil.example", "javascript:alert(1)", "/a?b=c", "\n/evil", "/%2f/evil"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, p string) {
		got := within(p)
		base, _ := url.Parse("http://here.example/x")
		u, err := base.Parse(got)
		if err != nil || u.Host != "here.example" || u.Scheme != "http" || strings.ContainsAny(got, "\\\r\n\t") || strings.HasPrefix(got, "//") {
			t.Errorf("%q leads to %q", p, got)
		}
	})
}

func TestPagesThatAreOfferedToOthersAskForTheSecretEverywhere(t *testing.T) {
	for _, root := range []string{"https://rivers.example.org", "http://0.0.0.0:8437", "http://rivers.example.org", "http://192.0.2.1"} {
		w := newWorld(t, func(o *Options) { o.PublicURL = root })
		if rec := w.get("/diary"); rec.Code != http.StatusSeeOther { // a proxy that does not say so looks like this machine
			t.Errorf("%s: the diary opens without the secret: %d", root, rec.Code)
		}
	}
}

func TestACautionThatNobodyJudgesAnyMoreIsNotKnown(t *testing.T) {
	at := noon
	w := newWorld(t, func(o *Options) { o.Now = func() time.Time { return at } })
	before := w.get("/river/wend/water").Body.String()
	at = noon.Add(judgedFor + time.Minute)
	after := w.get("/river/wend/water").Body.String()
	if strings.Contains(before, "gauges last checked") || !strings.Contains(after, "Caution level unknown") || !strings.Contains(after, "gauges last checked at") {
		t.Errorf("before: %.300s\nafter: %.300s", mainOf(before), mainOf(after))
	}
}

// A copy that was kept says by itself until when it counts, and a page made after
// that says that the level is unknown.
func TestACautionNamesTheTimeUntilWhichItCounts(t *testing.T) {
	at := noon
	w := newWorld(t, func(o *Options) { o.Now = func() time.Time { return at } })
	st, err := w.Data.State(t.Context(), "wend")
	if err != nil {
		t.Fatal(err)
	}
	known := *st
	known.Caution = wading.Caution{At: noon, Until: noon.Add(10 * time.Minute), Known: true, Level: wading.Care, Flow: wading.Reading{Value: 4, Age: 110 * time.Minute, Present: true}}
	w.Data.(*Memory).Put("wend", &known)
	for _, path := range []string{"/", "/river/wend", "/river/wend/water"} {
		at = noon.Add(time.Minute)
		got := mainOf(w.get(path).Body.String())
		for _, want := range []string{"Take care.", "read at " + noon.Add(-110*time.Minute).Format("15:04 MST on 2 Jan 2006"), "Valid until " + noon.Add(10*time.Minute).Format("15:04 MST on 2 Jan 2006") + "; after that the caution level is unknown", `data-until="` + noon.Add(10*time.Minute).Format(time.RFC3339)} {
			if !strings.Contains(got, want) {
				t.Errorf("%s: %q is not in %.1500s", path, want, got)
			}
		}
		at = noon.Add(11 * time.Minute)
		if got := mainOf(w.get(path).Body.String()); strings.Contains(got, "Take care.") || !strings.Contains(got, "Caution level unknown, but at least 1: take care") {
			t.Errorf("%s past its time: %.1500s", path, got)
		}
	}
}

func mainOf(page string) string {
	_, after, _ := strings.Cut(page, "<main")
	return after
}

func TestWhoseDataItIsStandsUnderEachPage(t *testing.T) {
	rivers := []forecast.River{{Slug: "wend", Name: "Wend", Zone: "UTC", Gauges: []forecast.FeedSite{{Feed: "usgs"}, {Feed: "own"}}, Weather: &forecast.FeedSite{Feed: "open-meteo"}}}
	w := newWorld(t, func(o *Options) { o.Data = NewMemory(rivers) })
	for _, p := range []string{"/", "/about", "/river/wend"} {
		_, foot, _ := strings.Cut(w.get(p).Body.String(), "<footer>")
		for _, want := range []string{"U.S. Geological Survey", "Open-Meteo.com (CC BY 4.0)", "own"} {
			if !strings.Contains(foot, want) {
				t.Errorf("%s does not credit %s", p, want)
			}
		}
	}
}

func TestAnOwnersWordsStandInPlaceOfTheAgencysAndANoticeAtTheHead(t *testing.T) {
	rivers := []forecast.River{{Slug: "wend", Name: "Wend", Zone: "UTC", Gauges: []forecast.FeedSite{{Feed: "usgs"}}}}
	w := newWorld(t, func(o *Options) {
		o.Data, o.Notice, o.Owners = NewMemory(rivers), "A <trial>.", map[string]string{"usgs": "invented & said so"}
	})
	for _, p := range []string{"/", "/about", "/river/wend"} {
		page := w.get(p).Body.String()
		if !strings.Contains(page, `<p class="notice">A &lt;trial&gt;.</p>`) || !strings.Contains(page, "invented &amp; said so") || strings.Contains(page, "U.S. Geological Survey") {
			t.Errorf("%s gives neither the notice nor the owner", p)
		}
	}
}

func TestASeasonIsDrawnAheadAndThenOnlyForAnotherOutlookDayOrDiary(t *testing.T) {
	now := noon
	w := newWorld(t, func(o *Options) { o.Now = func() time.Time { return now } })
	p := w.handler.(*Pages)
	if err := p.DrawAhead(t.Context()); err != nil {
		t.Fatal(err)
	}
	kept := func() *drawing {
		d := p.site.drawings.of("wend")
		if d == nil {
			t.Fatal("the season is not drawn")
		}
		return d
	}
	first := kept()
	now = now.Add(time.Minute)
	if w.get("/river/wend/season"); kept() != first {
		t.Error("a reader had it drawn again")
	}
	p.site.written.Add(1)
	w.get("/river/wend/season")
	second := kept()
	if second == first {
		t.Error("the diary changed, and the season was not drawn again")
	}
	now = now.Add(24 * time.Hour)
	if w.get("/river/wend/season"); kept() == second {
		t.Error("another day began, and the season was not drawn again")
	}
	st, _ := w.Data.State(t.Context(), "wend")
	other := *st.Outlook
	other.IssuedAt = other.IssuedAt.Add(time.Hour)
	third := kept()
	w.Data.(*Memory).Put("wend", &State{Outlook: &other, Caution: st.Caution, CautionAt: st.CautionAt})
	if err := p.DrawAhead(t.Context()); err != nil || kept() == third {
		t.Errorf("there is another outlook, and the season was not drawn again (%v)", err)
	}
}

// No river is named as a place to go while its caution is unknown, at least 2, or a
// warning is in force; and the no comes with the yes.
func TestThePagesInviteOnlyWhereTheCautionLetsThem(t *testing.T) {
	w := newWorld(t, nil)
	for _, x := range []struct {
		what    string
		caution wading.Caution
		want    bool
	}{
		{"care", wading.Caution{At: noon, Until: noon.Add(time.Hour), Known: true, Level: wading.Care}, true},
		{"better not to wade", wading.Caution{At: noon, Until: noon.Add(time.Hour), Known: true, Level: wading.BetterNot}, false},
		{"keep out", wading.Caution{At: noon, Until: noon.Add(time.Hour), Known: true, Level: wading.KeepOut}, false},
		{"unknown", wading.Caution{At: noon, Until: noon, Level: wading.Quiet}, false},
		{"run out", wading.Caution{At: noon.Add(-3 * time.Hour), Until: noon.Add(-time.Minute), Known: true, Level: wading.Care}, false},
		{"a warning", wading.Caution{At: noon, Until: noon.Add(time.Hour), Known: true, Level: wading.Care,
			Reasons: []wading.Reason{{Code: "warning.flood", Level: wading.Care, Text: func(wading.Units) string { return "flood alert" }}}}, false},
	} {
		for _, slug := range []string{"wend", "garrow", "odd"} {
			st, err := w.Data.State(t.Context(), slug)
			if err != nil {
				t.Fatal(err)
			}
			other := *st
			other.Caution = x.caution
			w.Data.(*Memory).Put(slug, &other)
		}
		w.handler.(*Pages).site.written.Add(1) // a page that is kept is of the caution before
		for _, path := range []string{"/", "/river/wend"} {
			main := mainOf(w.get(path).Body.String())
			main = strings.Replace(main, `<p id="offline" class="caution strong"`, "", 1) // hidden while there is a net
			invites := strings.Contains(main, ">Go ") || strings.Contains(main, `<h1 id="today"><a href=`)
			if invites && !x.want || !invites && x.want && path == "/" { // a river alone may have insects and bad water
				t.Errorf("%s, with %s: invites is %t\n%.900s", path, x.what, invites, main)
			}
			if !x.want && x.what != "a warning" && !strings.Contains(main, `class="caution strong"`) {
				t.Errorf("%s, with %s: the caution is not strong", path, x.what)
			}
		}
	}
}

func TestTheFrontPageCanBeAskedForOneInsect(t *testing.T) {
	w := newWorld(t, nil)
	all, one := mainOf(w.get("/").Body.String()), mainOf(w.get("/?group=salmonfly").Body.String())
	if !strings.Contains(one, "Salmonfly only") || !strings.Contains(one, `<option value="salmonfly" selected>`) || strings.Contains(all, "selected>") {
		t.Errorf("the filter does not show what it asks for: %.600s", one)
	}
	if n := strings.Count(one, "<b>"); n == 0 || strings.Contains(one, "<b>Pale morning dun</b>") {
		t.Error("another insect is named beside the one that was asked for")
	}
	if got := mainOf(w.get("/?group=none-such").Body.String()); got != all {
		t.Error("an unknown insect changes the page")
	}
}

func TestEveryGroupOfTheCatalogueHasABodyPlan(t *testing.T) {
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]bool{}
	for _, g := range c.Groups() {
		p, ok := planOf(&g)
		if !ok {
			t.Errorf("%s (%s) has no drawing", g.Key, g.Order)
		}
		used[p.name] = true
	}
	for _, p := range []bodyPlan{threeTails, twoTails, roofWings, flatWings, rolledWings, gnat, stoutFly, craneFly, ant, beetle, hopper, cicada, worm, dragonfly} {
		if !used[p.name] {
			t.Errorf("no group looks like the %s", p.name)
		}
	}
	if len(used) < 12 {
		t.Errorf("%d body plans", len(used))
	}
}

// Published: the great circle from Heathrow to Kennedy airport is 5540 km.
func TestTheSketchMeasuresAsTheCrowFlies(t *testing.T) {
	a, b := spot{Name: "LHR", Lat: 51.4775, Lon: -0.4614}, spot{Name: "JFK", Lat: 40.6413, Lon: -73.7781}
	if d := apartKm(a, b); d < 5520 || d > 5560 {
		t.Errorf("%.0f km", d)
	}
	got := string(sketch([]spot{a, b}, wading.US))
	if !strings.Contains(got, "3442 mi") && !strings.Contains(got, "344") || strings.Contains(got, "%!") || strings.Contains(got, "NaN") {
		t.Errorf("the sketch: %s", got)
	}
	if sketch([]spot{a}, wading.US) != "" {
		t.Error("one gauge is drawn against itself")
	}
	if same := string(sketch([]spot{a, a}, wading.Metric)); strings.Contains(same, "NaN") || strings.Contains(same, "Inf") {
		t.Errorf("two gauges at one place: %s", same)
	}
}

// Beside days that today's reading does not reach the caution is one line, as in mails.
func TestTheCautionOfDaysAheadIsAsLongAsTodaysReadingReaches(t *testing.T) {
	now := cautionLine{Lead: "Take care", Text: []string{"Flow 9 m³/s"}, Known: true}
	for days, near := range map[forecast.Date]bool{0: true, 3: true, 4: false, 7: false} {
		got := cautionAhead(&State{Outlook: &forecast.Outlook{}}, now, "20% of days too high", 100+days, 100)
		if (got.Lead == now.Lead) != near || near == strings.Contains(strings.Join(got.Text, " "), "Read the gauge again the evening before") {
			t.Errorf("%d days ahead: %+v", days, got)
		}
	}
}

// Beside a trip that today's reading does not reach, today's cautions stand in one
// notice that leaves no river out.
func TestCautionsBesideAFarTripStandTogetherAndNoneIsLeftOut(t *testing.T) {
	var strong []head
	for i := range 40 {
		c := wading.Caution{At: noon, Until: noon.Add(time.Duration(60-i) * time.Minute), Known: i%3 != 0, Level: wading.BetterNot + wading.Level(i%2)}
		strong = append(strong, head{Name: fmt.Sprintf("River %d", i), Today: 100, judged: c, Line: cautionNow(&State{}, c, wading.Metric, false)})
	}
	far, near := &trip.Trip{First: trip.Stay{From: 110}}, &trip.Trip{First: trip.Stay{From: 110}, Second: &trip.Stay{From: 102}}
	if got := noticesOf(strong, near); len(got) != len(strong) {
		t.Errorf("%d notices beside a trip in two days", len(got))
	}
	got := noticesOf(strong, far)
	if len(got) != 1 || got[0].Known || !got[0].Strong || !got[0].Until.Equal(noon.Add(21*time.Minute)) {
		t.Fatalf("%+v", got)
	}
	words := strings.Join(got[0].Text, ". ") + "."
	for i, h := range strong {
		named := regexp.MustCompile(`\b` + h.Name + `[,.]`)
		n := 0
		for _, level := range got[0].Text {
			if named.MatchString(level + ".") {
				n++
				if h.judged.Known && !strings.HasPrefix(level, h.Line.Lead) || !h.judged.Known && !strings.Contains(level, "unknown") {
					t.Errorf("River %d stands under %q", i, level)
				}
			}
		}
		if n != 1 {
			t.Errorf("%s is named %d times: %s", h.Name, n, words)
		}
	}
}

// The front page of many rivers stays as light as a phone's first packets carry, and
// names the caution of each river however many there are.
func TestTheFrontPageOfAHundredRiversIsLightAndCutsNoCaution(t *testing.T) {
	h := crowdPages(t, 100, func() time.Time { return noon })
	w := &world{handler: h}
	body := w.get("/").Body.Bytes()
	// Ten packets of 1460 bytes, less the header of the answer.
	if n := len(packed(body)); n > 13_600 {
		t.Errorf("%d bytes packed", n)
	}
	if n := bytes.Count(body, []byte("<")) - bytes.Count(body, []byte("</")); n > 1500 {
		t.Errorf("%d nodes", n)
	}
	lines := regexp.MustCompile(`<li><a href="/river/river-\d+">[^\n]*`).FindAllString(string(body), -1)
	if len(lines) != 100-stripsShown {
		t.Errorf("%d rivers have a line", len(lines))
	}
	for _, l := range lines {
		if !strings.Contains(l, "<b>Caution unknown, look first</b>") {
			t.Errorf("no caution: %s", l)
		}
	}
}
