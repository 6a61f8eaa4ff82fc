package page

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/notify/subscribe"
)

// reader is a confirmed subscriber of the Wend.
func (w *world) reader(t *testing.T, address string) subscribe.Person {
	t.Helper()
	if err := w.subs.AddConfirmed(t.Context(), subscribe.Request{Address: address, Subscriptions: []subscribe.Subscription{{River: "wend"}}}); err != nil {
		t.Fatal(err)
	}
	all, err := w.subs.List(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range all {
		if p.Address == address {
			return p
		}
	}
	t.Fatal("no such person")
	return subscribe.Person{}
}

// likely is what is most likely seen on the Wend today.
func (w *world) likely(t *testing.T) (group, stage string) {
	t.Helper()
	st, err := w.Data.State(t.Context(), "wend")
	if err != nil {
		t.Fatal(err)
	}
	best := -1.0
	for i := range st.Outlook.Stages {
		x := &st.Outlook.Stages[i]
		if d, ok := x.On(forecast.DateOf(noon)); ok && d.P > best && !x.Elsewhere {
			best, group, stage = d.P, x.Group, string(x.Stage)
		}
	}
	return group, stage
}

func (w *world) send(path, fields string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(fields))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return w.ask(r)
}

func (w *world) sightings(t *testing.T) []diary.Sighting {
	t.Helper()
	all, err := w.diary.List(t.Context(), diary.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestAReportIsWrittenOnceAndOnlyByItsLink(t *testing.T) {
	w := newWorld(t, nil)
	p := w.reader(t, "reader@example.org")
	group, stage := w.likely(t)
	good := subscribe.Report{Person: p.ID, River: "wend", Group: group, Stage: stage, Expires: noon.Add(time.Hour), Nonce: "a"}
	token := w.subs.Report(good)
	late := good
	late.Expires = noon.Add(-time.Second)
	nobody := good
	nobody.Person = strings.Repeat("0", 32)
	const press = "amount=few&date=2026-05-18"
	for name, c := range map[string]string{
		"a changed letter":   "x" + token[1:],
		"a changed seal":     token[:len(token)-2] + "AA",
		"no seal":            strings.Split(token, ".")[0],
		"an expired link":    w.subs.Report(late),
		"of nobody we know":  w.subs.Report(nobody),
		"of another purpose": w.subs.Manage(p.ID),
		"nothing":            "x",
	} {
		if rec := w.send("/report/"+c, press); rec.Code != http.StatusNotFound {
			t.Errorf("%s: %d", name, rec.Code)
		}
	}
	page := w.get("/report/" + token)
	if page.Code != http.StatusOK || !strings.Contains(page.Body.String(), "None yet") || !strings.Contains(page.Body.String(), groupName(group)) {
		t.Fatalf("%d", page.Code)
	}
	if n := len(w.sightings(t)); n != 0 {
		t.Fatalf("%d sightings were written by looking", n)
	}
	rec := w.send("/report/"+token, press)
	all := w.sightings(t)
	if rec.Code != http.StatusSeeOther || len(all) != 1 {
		t.Fatalf("%d, %d sightings", rec.Code, len(all))
	}
	if x := all[0]; x.River != "wend" || x.Group != group || x.Stage != stage || x.Amount != diary.Few || x.Author != p.ID || x.Origin != diary.Reader || x.Held || x.Observer != "" {
		t.Errorf("%+v", x)
	}
	// The next page offers the others, on a link that is not the used one.
	next := rec.Header().Get("Location")
	if strings.Contains(next, token) || !strings.Contains(w.get(next).Body.String(), "what else did you see?") {
		t.Errorf("leads to %s", next)
	}
	if rec := w.send("/report/"+token, "amount=many&date=2026-05-18"); !strings.Contains(rec.Header().Get("Location"), "done=again") {
		t.Errorf("replayed: %d to %s", rec.Code, rec.Header().Get("Location"))
	}
	if all := w.sightings(t); len(all) != 1 || all[0].Amount != diary.Few || all[0].Revision != 1 {
		t.Errorf("a replay wrote: %+v", all)
	}
	// What the link does not name cannot be written by it.
	other := w.subs.Report(subscribe.Report{Person: p.ID, River: "wend", Group: group, Stage: stage, Expires: noon.Add(time.Hour), Nonce: "b"})
	w.send("/report/"+other, press+"&what=skwala/emergence&river=garrow")
	for _, x := range w.sightings(t) {
		if x.River != "wend" || x.Group != group {
			t.Errorf("written beyond the link: %+v", x)
		}
	}
}

func TestAPranksterMovesNothingAndTheOwnerSeesThem(t *testing.T) {
	w := newWorld(t, func(o *Options) { o.PublicURL, o.Secret = "https://eclose.example.org", "a secret of the owner" })
	group, stage := w.likely(t)
	visit := func(i int, group, stage, amount string) {
		t.Helper()
		at := fmt.Sprintf("10.%d.%d.1:5000", i/250, i%250)
		r := httptest.NewRequest(http.MethodGet, "/saw?river=wend&group="+group+"&stage="+stage, nil)
		r.RemoteAddr = at
		page := w.ask(r).Body.String()
		_, after, ok := strings.Cut(page, `action="/report/`)
		token, _, _ := strings.Cut(after, `"`)
		if !ok {
			t.Fatalf("no form:\n%.2000s", page)
		}
		r = httptest.NewRequest(http.MethodPost, "/report/"+token, strings.NewReader("date=2026-05-18&amount="+amount))
		r.RemoteAddr = at
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if rec := w.ask(r); rec.Code != http.StatusSeeOther {
			t.Fatalf("%d", rec.Code)
		}
	}
	out := ""
	st, err := w.Data.State(t.Context(), "wend")
	if err != nil {
		t.Fatal(err)
	}
	for i := range st.Outlook.Stages {
		x := &st.Outlook.Stages[i]
		if d, ok := x.On(forecast.DateOf(noon)); (!ok || d.P < unlikely && d.PCalendar < unlikely) && x.Stage == forecast.Emergence {
			out = x.Group
		}
	}
	for i := range 100 {
		visit(i, out, "emergence", "many")
	}
	all := w.sightings(t)
	if n := len(forecast.SightingsOf(all)); len(all) != 100 || n != 0 {
		t.Errorf("out of season: %d written, %d reach the forecast", len(all), n)
	}
	// In season a hundred pranksters of one day are one visit.
	for i := range 100 {
		visit(i, group, stage, "many")
	}
	if n := len(forecast.SightingsOf(w.sightings(t))); n != 1 {
		t.Errorf("in season: %d visits reach the forecast", n)
	}
	// "None yet" is never doubted.
	visit(200, out, "emergence", "none")
	if n := len(forecast.SightingsOf(w.sightings(t))); n != 2 {
		t.Errorf("%d visits with a blank one", n)
	}
	local := newWorld(t, nil)
	local.diary = w.diary
	owner, err := New(func() Options { o := local.Options; o.Diary, o.Reports = w.diary, w.diary; return o }())
	if err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest(http.MethodGet, "/diary", nil)
	r.RemoteAddr, r.Host = "127.0.0.1:5000", "127.0.0.1:8437"
	rec := httptest.NewRecorder()
	owner.ServeHTTP(rec, r)
	if body := rec.Body.String(); !strings.Contains(body, "100 held back") || !strings.Contains(body, "visitor-") {
		t.Error("the owner does not see them")
	}
}

func TestReadersSeeAndDeleteTheirOwnOnly(t *testing.T) {
	w := newWorld(t, nil)
	a, b := w.reader(t, "a@example.org"), w.reader(t, "b@example.org")
	own := func(p subscribe.Person) string {
		return "/my/" + w.subs.Report(subscribe.Report{Person: p.ID, Expires: noon.Add(time.Hour)})
	}
	group, stage := w.likely(t)
	fields := "river=wend&date=2026-05-18&nonce=nonce-nonce&amount=many&what=" + group + "/" + stage
	for range 2 { // a phone that did not hear the answer sends again
		if rec := w.send(own(a), fields); rec.Code != http.StatusSeeOther {
			t.Fatalf("%d", rec.Code)
		}
	}
	if rec := w.send(own(a), strings.Replace(fields, "wend", "garrow", 1)+"x"); rec.Code != http.StatusUnprocessableEntity {
		t.Errorf("a river that was not subscribed: %d", rec.Code)
	}
	all := w.sightings(t)
	if len(all) != 1 || all[0].Revision != 1 {
		t.Fatalf("%+v", all)
	}
	if !strings.Contains(w.get(own(a)).Body.String(), all[0].ID) || strings.Contains(w.get(own(b)).Body.String(), all[0].ID) {
		t.Error("readers do not see their own alone")
	}
	w.send(own(b), "delete="+all[0].ID)
	if len(w.sightings(t)) != 1 {
		t.Error("another reader deleted it")
	}
	w.send(own(a), "delete="+all[0].ID)
	if len(w.sightings(t)) != 0 {
		t.Error("it is still there")
	}
	h, err := w.diary.History(t.Context(), all[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range h {
		if x.Author != "" {
			t.Error("who wrote it is still known")
		}
	}
}

func TestTheOwnerHoldsBackAndTrusts(t *testing.T) {
	w := newWorld(t, nil)
	p := w.reader(t, "a@example.org")
	group, stage := w.likely(t)
	link := func(n string) string {
		return "/report/" + w.subs.Report(subscribe.Report{Person: p.ID, River: "wend", Group: group, Stage: stage, Expires: noon.Add(time.Hour), Nonce: n})
	}
	w.send(link("a"), "amount=few&date=2026-05-18")
	id := w.sightings(t)[0].ID
	reach := func() int { return len(forecast.SightingsOf(w.sightings(t))) }
	w.post(t, "/diary", "/diary/hold", "do=hold&id="+id)
	if reach() != 0 {
		t.Error("what was held back reaches the forecast")
	}
	w.send(link("b"), "amount=many&date=2026-05-18")
	if reach() != 0 {
		t.Error("written again, it reaches the forecast")
	}
	w.post(t, "/diary", "/diary/hold", "do=release&id="+id)
	if reach() != 1 {
		t.Error("what was let in does not reach the forecast")
	}
	w.post(t, "/diary", "/diary/trust", "trust=held&author="+p.ID)
	w.send(link("c"), "amount=few&date=2026-05-17")
	if reach() != 0 {
		t.Error("what a blocked reader writes reaches the forecast")
	}
	w.post(t, "/diary", "/diary/trust", "trust=trusted&author="+p.ID)
	if reach() != 2 {
		t.Error("what a trusted reader wrote does not reach the forecast")
	}
}

func TestRiverAndInsectAreChosenNotPreset(t *testing.T) {
	w := newWorld(t, nil)
	form := mainOf(w.get("/diary/new").Body.String())
	for _, name := range []string{"river", "group"} {
		for _, input := range strings.Split(form, "<input")[1:] {
			input, _, _ = strings.Cut(input, ">")
			if strings.Contains(input, `name="`+name+`"`) && strings.Contains(input, "checked") {
				t.Errorf("preset: %s", input)
			}
		}
	}
	form = mainOf(w.get("/diary/new?river=garrow&group=skwala").Body.String())
	if !strings.Contains(form, `value="garrow" checked`) || !strings.Contains(form, `value="skwala" checked`) {
		t.Error("what the link names is not chosen")
	}
	// Signing in leads back to the same river.
	far := newWorld(t, func(o *Options) { o.PublicURL, o.Secret = "https://eclose.example.org", "a secret of the owner" })
	r := httptest.NewRequest(http.MethodGet, "/diary/new?river=garrow&group=skwala", nil)
	if to := far.ask(r).Header().Get("Location"); !strings.Contains(to, "river%3Dgarrow%26group%3Dskwala") {
		t.Errorf("signing in leads to %s", to)
	}
}

// A reader's own page asks about the likeliest insects first; the rest is folded.
func TestTheOwnPageOpensWithTheLikeliest(t *testing.T) {
	w := newWorld(t, nil)
	p := w.reader(t, "reader@example.org")
	page := w.get("/my/" + w.subs.Report(subscribe.Report{Person: p.ID, Expires: noon.Add(time.Hour)})).Body.String()
	open, folded, _ := strings.Cut(page, "<details")
	if a, b := strings.Count(open, `class="see later"`), strings.Count(folded, `class="see later"`); a != 10 || b == 0 {
		t.Errorf("%d questions stand open and %d are folded, want 10 and the rest", a, b)
	}
	group, stage := w.likely(t)
	if !strings.Contains(open, group+"/"+stage) || strings.Count(page, `name="date" value="2026-05-18"`) < 11 {
		t.Error("the likeliest is not asked first, or a question has another date than the river's")
	}
}
