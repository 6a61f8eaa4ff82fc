package work_test

import (
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/notify/syndicate"
)

// windowed is an outlook with two windows that move, go and come with the minute of issue.
func windowed(r forecast.River, at time.Time) *forecast.Outlook {
	o := outlook(r, at)
	o.Stages = nil
	k := forecast.Date(at.Unix() / 60 % 12)
	june := forecast.DateOf(time.Date(at.Year()+1, 6, 1, 0, 0, 0, 0, time.UTC))
	for i, group := range []string{"march-brown", "iron-blue-dun"} {
		if i == 1 && k%3 == 0 {
			continue
		}
		from := june + 3*(k%4)
		one := func(d forecast.Date) forecast.Range { return forecast.Range{P10: d - 3, P50: d, P90: d + 3} }
		x := forecast.StageOutlook{Group: group, Name: group, Stage: forecast.Emergence, Fishable: true, Grade: "guess",
			Window: forecast.Window{Start: one(from), Peak: one(from + 5), End: one(from + 10)}}
		x.Days = forecast.DaysOf([]forecast.Day{{Date: from + 5, P: 0.5, PCalendar: 0.4}})
		o.Stages = append(o.Stages, x)
	}
	return o
}

// toldMessage is what a webhook says, as far as this test looks.
type toldMessage struct {
	Type string
	Data struct {
		River    string
		IssuedAt time.Time `json:"issued_at"`
		Change   *struct {
			Was    *[2]string
			Window struct {
				Group, Stage, From, To string
				Season                 int
			}
		} `json:"window_change"`
	}
}

// Workers on PostgreSQL are killed at random while forecasts of the same rivers are
// issued and weighed side by side. What a receiver was told, each id once, is one story
// without a gap or a repetition, and it ends in what the calendars show.
func TestCalendarsAndWebhooksTellOneStoryThoughWorkersAreKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("it waits for what the dead left behind")
	}
	besideOthers(t)
	const nRivers, rounds, workers, kills = 4, 14, 4, 10
	url := dbtest.PostgresURL(t)
	d := dbtest.Open(t, url)
	var mu sync.Mutex
	got := map[string]toldMessage{}
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			return // the sender was killed
		}
		if fault := signedByStandard(r.Header, body, time.Now()); fault != "" {
			t.Error(fault)
		}
		var m toldMessage
		if err := json.Unmarshal(body, &m); err != nil {
			t.Error(err)
		}
		mu.Lock()
		defer mu.Unlock()
		got[r.Header.Get("webhook-id")] = m
		if rand.N(7) == 0 {
			panic(http.ErrAbortHandler) // the answer is lost
		}
	}))
	defer receiver.Close()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := &children{t: t, exe: exe, procs: 1, skew: []time.Duration{-2 * time.Minute, 0, time.Minute, 0},
		hand: hand{Database: url, Dir: t.TempDir(), Rivers: nRivers, Timeout: 10 * time.Second, Model: 4, Hook: receiver.URL, Windows: true}}
	defer c.killAll()
	for i := range workers {
		c.start(i)
	}
	q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	base := time.Now().Add(-24 * time.Hour).UTC().Truncate(time.Hour)
	for round := range rounds {
		var all []jobs.Args
		for _, r := range rivers(nRivers) {
			all = append(all, jobs.Outlook{River: r.Slug, Issue: base.Add(time.Duration(round) * time.Minute)})
		}
		if _, err := q.Add(t.Context(), all...); err != nil {
			t.Fatal(err)
		}
		time.Sleep(300 * time.Millisecond)
		if round < kills {
			c.kill(round % workers)
			c.start(round % workers)
		}
	}
	for end := time.Now().Add(4 * time.Minute); ; time.Sleep(200 * time.Millisecond) {
		n, err := q.Unfinished(t.Context(), "outlook", "alerts", "webhook")
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("%d jobs are not done", n)
		}
	}
	c.killAll()
	var kept, given int
	if err := d.SQL.QueryRow("SELECT COUNT(*) FROM webhook_message").Scan(&kept); err != nil || kept != len(got) {
		t.Errorf("%d messages were kept and %d came, %v", kept, len(got), err)
	}
	if err := d.SQL.QueryRow("SELECT COUNT(*) FROM river_job WHERE state IN ('discarded', 'cancelled')").Scan(&given); err != nil || given > 0 {
		t.Errorf("%d jobs were given up, %v", given, err)
	}
	for _, r := range rivers(nRivers) {
		checkStory(t, d, r.Slug, got)
	}
	t.Logf("%d messages of %d rivers, %d forecasts each, %d kills", len(got), nRivers, rounds, kills)
}

// checkStory tells the messages about a river again, in the order of the forecasts, and
// holds the end against what the calendars show.
func checkStory(t *testing.T, d *db.DB, river string, got map[string]toldMessage) {
	t.Helper()
	var all []toldMessage
	for _, m := range got {
		if m.Data.River == river {
			all = append(all, m)
		}
	}
	slices.SortFunc(all, func(a, b toldMessage) int {
		if n := a.Data.IssuedAt.Compare(b.Data.IssuedAt); n != 0 {
			return n
		}
		return strings.Compare(a.Type, b.Type)
	})
	shown, issued, cautions := map[string]string{}, map[time.Time]int{}, 0
	for _, m := range all {
		switch m.Type {
		case "caution.changed":
			cautions++
			continue
		case "forecast.issued":
			if issued[m.Data.IssuedAt]++; issued[m.Data.IssuedAt] > 1 {
				t.Errorf("%s: the forecast of %s was told twice", river, m.Data.IssuedAt)
			}
			continue
		}
		w := m.Data.Change.Window
		key := fmt.Sprintf("%s %s %d", w.Group, w.Stage, w.Season)
		switch was := shown[key]; {
		case m.Type == "window.added" && was != "",
			m.Type == "window.cancelled" && was == "",
			m.Type == "window.moved" && (m.Data.Change.Was == nil || was != m.Data.Change.Was[0]+" "+m.Data.Change.Was[1]):
			t.Errorf("%s, %s: %s of %s after %q, said to be %v before", river, m.Data.IssuedAt.Format("15:04"), m.Type, key, was, m.Data.Change.Was)
		}
		shown[key] = w.From + " " + w.To
		if m.Type == "window.cancelled" {
			delete(shown, key)
		}
	}
	rows, err := syndicate.Published(t.Context(), d.SQL, river)
	if err != nil {
		t.Fatal(err)
	}
	live := map[string]string{}
	for _, w := range rows {
		if !w.Cancelled {
			live[fmt.Sprintf("%s %s %d", w.Group, w.Stage, w.Season)] = w.From.String() + " " + w.To.String()
		}
	}
	if fmt.Sprint(live) != fmt.Sprint(shown) || len(live) == 0 {
		t.Errorf("%s: the calendar shows %v, the messages end in %v", river, live, shown)
	}
	if cautions != 1 { // it never changes here
		t.Errorf("%s: its caution was told %d times", river, cautions)
	}
}
