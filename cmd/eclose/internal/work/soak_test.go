package work_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"io/fs"
	"maps"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/robfig/cron/v3"
	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/feed/eahydrology"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/subscribe"
)

// A soak is days of an agency's service in minutes: an invented feed that is late,
// revises, hangs up, lies and goes away, fetched, kept, weighed and told by the
// real jobs on a clock of its own.

// script is what happens when, in hours since the start.
type script struct {
	gauges, hours    int
	after            int    // hours without a fault at the end
	flood, longFlood [2]int // rivers 0, 10, 20, ... and rivers 1, 11, 21, ...
	outage           [2]int // nobody is answered, in the midst of the long flood
	gap              [2]int // the loggers of rivers 2, 12, 22, ... say all of it at its end
}

var (
	shortSoak = script{gauges: 5, hours: 20, after: 2, flood: [2]int{10, 15}, longFlood: [2]int{2, 11}, outage: [2]int{5, 9}, gap: [2]int{11, 16}}
	longSoak  = script{gauges: 200, hours: 72, after: 8, flood: [2]int{8, 20}, longFlood: [2]int{24, 40}, outage: [2]int{30, 34}, gap: [2]int{44, 52}}
)

// world is the truth, and the service that tells it badly.
type world struct {
	script
	began    time.Time
	now      func() time.Time
	calm     atomic.Bool // no faults any more
	requests atomic.Int64
	faults   atomic.Int64
	asked    []atomic.Int64 // of each river
}

const step = 15 * time.Minute

func hashed(parts ...any) uint64 {
	h := fnv.New64a()
	fmt.Fprint(h, parts...)
	return h.Sum64()
}

func in(at float64, span [2]int) bool { return at >= float64(span[0]) && at < float64(span[1]) }

// flow is what the gauge of a river measures, to a hundredth.
func (w *world) flow(river int, at time.Time) float64 {
	hour := at.Sub(w.began).Hours()
	v := 20 + float64(river%7) + 3*math.Sin(hour/5+float64(river))
	if river%10 == 0 && in(hour, w.flood) || river%10 == 1 && in(hour, w.longFlood) {
		v += 130
	}
	return math.Round(100*v) / 100
}

// revised says what an agency makes of a reading six hours later.
func (w *world) revised(river int, at time.Time) (float64, bool) {
	v := w.flow(river, at)
	return math.Round(102*v) / 100, hashed("revision", river, at.Unix())%40 == 0
}

const revisedAfter = 6 * time.Hour

// said is when the service first has a reading.
func (w *world) said(river int, at time.Time) time.Time {
	if hour := at.Sub(w.began).Hours(); river%10 == 2 && in(hour, w.gap) {
		at = w.began.Add(time.Duration(w.gap[1]) * time.Hour)
	}
	return at.Add(time.Duration(hashed("delay", river)%40) * time.Minute)
}

func (w *world) ServeHTTP(rw http.ResponseWriter, r *http.Request) {
	w.requests.Add(1)
	var river int
	if _, err := fmt.Sscanf(r.URL.Path, "/flood-monitoring/id/stations/g%d/readings", &river); err != nil || river >= w.gauges {
		http.NotFound(rw, r)
		return
	}
	now := w.now()
	since, err := time.Parse(time.RFC3339, r.URL.Query().Get("since"))
	if err != nil {
		http.Error(rw, "since", http.StatusBadRequest)
		return
	}
	var b bytes.Buffer
	b.WriteString(`{"items":[`)
	for at, k := w.began, 0; at.Before(now); at = at.Add(step) {
		if at.Before(since) || w.said(river, at).After(now) {
			continue
		}
		v := w.flow(river, at)
		if x, ok := w.revised(river, at); ok && now.Sub(at) >= revisedAfter {
			v = x
		}
		if k++; k > 1 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, `{"measure":"http://environment.data.gov.uk/flood-monitoring/id/measures/g%04d-flow--i-15_min-m3_s","dateTime":%q,"value":%g}`, river, at.Format(time.RFC3339), v)
	}
	b.WriteString(`]}`)
	rw.Header().Set("Content-Type", "application/json")
	// The dice are thrown for a river's own questions, so that what befalls it does not
	// hang on the order in which rivers are asked.
	if !w.calm.Load() && w.fault(rw, r, river, b.Bytes(), hashed("fault", river, w.asked[river].Add(1))%100) {
		w.faults.Add(1)
		return
	}
	_, _ = rw.Write(b.Bytes())
}

// fault answers badly, every fourth time or so. A long flood is well told until the
// outage in its midst: whoever is to learn that we have no data must know of the flood.
func (w *world) fault(rw http.ResponseWriter, r *http.Request, river int, answer []byte, dice uint64) bool {
	hour := w.now().Sub(w.began).Hours()
	if river%10 == 1 && in(hour, [2]int{w.longFlood[0], w.outage[0]}) {
		return false
	}
	switch {
	case in(hour, w.outage), dice < 8:
		http.Error(rw, "down for maintenance", http.StatusServiceUnavailable)
	case dice < 12:
		rw.Header().Set("Retry-After", "30")
		http.Error(rw, "slow down", http.StatusTooManyRequests)
	case dice < 16: // it hangs up half way
		rw.Header().Set("Content-Length", fmt.Sprint(len(answer)))
		_, _ = rw.Write(answer[:len(answer)/2])
		panic(http.ErrAbortHandler)
	case dice < 20: // half an answer that calls itself whole
		_, _ = rw.Write(answer[:len(answer)/2])
	case dice < 22:
		rw.Header().Set("Content-Type", "text/html")
		_, _ = rw.Write([]byte("<html><body>Welcome to the new site</body></html>"))
	case dice < 24:
		_, _ = rw.Write([]byte(`{"items":[]}`))
	case dice < 25: // longer than anybody waits
		<-r.Context().Done()
	default:
		return false
	}
	return true
}

// soak is the house in the invented world.
type soak struct {
	*world
	clock atomic.Int64
	dir   string
	db    *db.DB
	store *series.Store
	house *work.Service
	queue *jobs.Queue
	sink  *sink
}

func (s *soak) Now() time.Time { return time.UnixMicro(s.clock.Load()).UTC() }

func newSoak(t *testing.T, sc script) *soak {
	t.Helper()
	// It ends before now, so that nothing of the real clock cuts into it.
	s := &soak{world: &world{script: sc, asked: make([]atomic.Int64, sc.gauges), began: time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, -7)}, dir: t.TempDir()}
	s.now = s.Now
	s.clock.Store(s.began.UnixMicro())
	server := httptest.NewServer(s.world)
	t.Cleanup(server.Close)
	server.Config.ErrorLog = nil
	s.db = dbtest.Open(t, filepath.Join(s.dir, "eclose.db"))
	var err error
	if s.store, err = series.Open(t.Context(), filepath.Join(s.dir, "series")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.store.Close() })
	files, err := series.OpenFiles(t.Context(), filepath.Join(s.dir, "series"))
	if err != nil {
		t.Fatal(err)
	}
	c, err := client.New(client.Options{UserAgent: "test", PerHost: map[string]float64{strings.TrimPrefix(server.URL, "http://"): 1e6},
		Timeout: time.Second, Retries: 2, Now: s.Now, Sleep: func(context.Context, time.Duration) error { return nil }})
	if err != nil {
		t.Fatal(err)
	}
	var places []schedule.RiverTasks
	for i, r := range rivers(sc.gauges) {
		places = append(places, schedule.RiverTasks{Name: r.Slug, Tasks: []schedule.Task{{
			Source:  eahydrology.Source{Client: c, BaseURL: server.URL, Now: s.Now},
			Request: ingest.Request{Site: fmt.Sprintf("g%04d", i), Variables: []ingest.Variable{ingest.Discharge}},
		}}})
	}
	s.sink = newSink(t)
	carrier, err := carrierOf(t.Context(), s.db, s.sink.port, s.sink.roots, s.Now)
	if err != nil {
		t.Fatal(err)
	}
	catalogue, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	s.house = &work.Service{
		Catalogue: catalogue,
		DB:        s.db, Rivers: rivers(sc.gauges), Files: files, Archive: archive.New(s.db, files), Alerts: alert.New(s.db, s.Now, work.MailFacts(archive.New(s.db, files), nil)), Log: zerolog.Nop(),
		Read: &work.Reader{Store: s.store, Now: s.Now}, Transport: carrier,
		Tasks: func() ([]schedule.RiverTasks, error) { return places, nil }, Backfill: 30 * 24 * time.Hour, Overlap: 30 * 24 * time.Hour,
		Feeds: map[string]cron.Schedule{eahydrology.FeedName: hourly(t)}, ForecastSchedule: hourly(t),
		Issue: func(_ context.Context, r forecast.River, at time.Time) (*forecast.Outlook, error) {
			return outlook(r, at), nil
		},
		Assess: s.look,
	}
	s.house.Write(s.store)
	s.queue, err = jobs.Open(t.Context(), s.db, jobs.Options{Now: s.Now, Log: zerolog.Nop(), Handlers: s.house.Handlers(), Pace: time.Millisecond, Poll: 20 * time.Millisecond,
		Workers: map[string]int{jobs.Feeds: 8, jobs.Model: 4, jobs.Mail: 1, jobs.Backtest: 1}})
	if err != nil {
		t.Fatal(err)
	}
	s.house.Queue = s.queue
	if err := s.queue.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.queue.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	s.subscribe(t)
	return s
}

func hourly(t *testing.T) cron.Schedule {
	s, err := jobs.ParseSchedule("@every 1h")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// subscribe gives each river a reader of its own.
func (s *soak) subscribe(t *testing.T) {
	t.Helper()
	people, err := subscribe.New(t.Context(), s.db, subscribe.Names{}, s.Now)
	if err != nil {
		t.Fatal(err)
	}
	var all []subscribe.Request
	for i, r := range rivers(s.gauges) {
		all = append(all, subscribe.Request{Address: fmt.Sprintf("reader-%03d@example.org", i), WakeFor3: true, PerDay: 24, Wording: "test",
			Subscriptions: []subscribe.Subscription{{River: r.Slug, Cautions: true}}})
	}
	if err := people.AddConfirmed(t.Context(), all...); err != nil {
		t.Fatal(err)
	}
}

// look takes the newest stored flow: above 100 m3/s nobody should be in there.
func (s *soak) look(ctx context.Context, r forecast.River, now time.Time) (alert.Reading, error) {
	a := alert.Reading{River: r.Slug, RiverName: r.Name, Zone: r.Zone, Gauge: "invented", Reasons: []string{"it is a test"}}
	got, err := s.store.Read(ctx, key(r.Slug), series.Query{From: now.Add(-24 * time.Hour)})
	if err != nil || got.Len() == 0 {
		return a, err
	}
	last := got.Len() - 1
	a.At, a.Known = got.At(last), now.Sub(got.At(last)) < 3*time.Hour
	if got.Value[last] > 100 {
		a.Level, a.Hold = 3, 3
	}
	a.FlowM3S = &alert.Value{V: got.Value[last], At: a.At}
	return a, nil
}

func key(slug string) ingest.Key {
	return ingest.Key{Feed: eahydrology.FeedName, Site: "g" + strings.TrimPrefix(slug, "river-"), Variable: ingest.Discharge, Statistic: ingest.Instant}
}

// pass does what is due at a moment, as the leader's periodic jobs would make it
// due, and waits for it. What is to be tried again waits for the queue's own time.
func (s *soak) pass(t *testing.T, at time.Time, what ...jobs.Args) {
	t.Helper()
	s.clock.Store(at.UnixMicro())
	if _, err := s.queue.Add(t.Context(), what...); err != nil {
		t.Fatal(err)
	}
	s.wait(t, "state IN ('available', 'running')")
}

func (s *soak) wait(t *testing.T, which string) {
	t.Helper()
	for end := time.Now().Add(10 * time.Minute); ; time.Sleep(5 * time.Millisecond) {
		var n int
		if err := s.db.SQL.QueryRowContext(t.Context(), "SELECT COUNT(*) FROM river_job WHERE "+which).Scan(&n); err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%d jobs of %s are not done", n, s.Now())
		}
	}
}

// hour is one hour: the plans of its slot, taken up when all spread requests are
// due, and what passes with time.
func (s *soak) hour(t *testing.T, h int) {
	slot := s.began.Add(time.Duration(h) * time.Hour)
	at := slot.Add(10 * time.Minute)
	all := []jobs.Args{jobs.Plan{What: jobs.PlanFetch, Feed: eahydrology.FeedName, Slot: slot}, jobs.Tick{Slot: slot}}
	if h%6 == 0 {
		all = append(all, jobs.Plan{What: jobs.PlanOutlooks, Slot: slot})
	}
	s.pass(t, at, all...)
	s.pass(t, at.Add(time.Minute), jobs.Deliver{Slot: at})
	half := at.Add(30 * time.Minute)
	s.pass(t, half, jobs.Tick{Slot: half})
	s.pass(t, half.Add(time.Minute), jobs.Deliver{Slot: half})
}

// measure is how large the house has become.
type measure struct {
	hour                    int
	heap, rss, series, base int64
	readings                int
}

func (s *soak) measure(t *testing.T, h int) (m measure) {
	t.Helper()
	debug.FreeOSMemory() // what is left is held
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	m.hour, m.heap, m.rss = h, int64(mem.HeapAlloc), resident()
	err := filepath.WalkDir(s.dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		i, err := e.Info()
		if err != nil {
			return err
		}
		if strings.Contains(path, "eclose.db") {
			m.base += i.Size()
		} else {
			m.series += i.Size()
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rivers(s.gauges) {
		if x, err := s.store.Info(t.Context(), key(r.Slug)); err == nil {
			m.readings += x.Count
		}
	}
	return m
}

// resident is the process's memory as the system counts it; 0 where it cannot be
// asked.
func resident() int64 {
	b, err := os.ReadFile("/proc/self/statm")
	var size, pages int64
	if err != nil {
		return 0
	}
	if _, err := fmt.Sscan(string(b), &size, &pages); err != nil {
		return 0
	}
	return pages * int64(os.Getpagesize())
}

func TestSoak(t *testing.T) {
	sc := shortSoak
	long := besideOthers(t)
	if long {
		sc = longSoak
	}
	if n, err := strconv.Atoi(os.Getenv("ECLOSE_GAUGES")); err == nil {
		sc.gauges = n
	}
	s := newSoak(t, sc)
	began := time.Now()
	var all []measure
	for h := 1; h <= sc.hours; h++ {
		s.hour(t, h)
		if h%6 == 0 || h == sc.hours {
			all = append(all, s.measure(t, h))
		}
	}
	// The service is well again; what it says now, and what waits to be tried again,
	// comes in.
	s.calm.Store(true)
	for h := sc.hours + 1; h <= sc.hours+sc.after; h++ {
		s.hour(t, h)
	}
	s.wait(t, "state IN ('available', 'running', 'retryable') AND kind = '"+jobs.Fetch{}.Kind()+"'")
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "hour\treadings\tseries MB\tdatabase MB\theap MB\tprocess MB\t")
	for _, m := range all {
		fmt.Fprintf(w, "%d\t%d\t%.1f\t%.1f\t%.1f\t%.0f\t\n", m.hour, m.readings, mb(m.series), mb(m.base), mb(m.heap), mb(m.rss))
	}
	w.Flush()
	t.Logf("%d gauges, %d hours in %s; %d requests, %d of them answered badly\n%s", sc.gauges, sc.hours, time.Since(began).Round(time.Second), s.requests.Load(), s.faults.Load(), b.String())
	if s.faults.Load() == 0 {
		t.Error("the feed had no fault: nothing was tried")
	}
	s.checkReadings(t)
	s.checkAlerts(t)
	s.checkOutlooks(t)
	if long {
		checkGrowth(t, all)
	}
}

func mb(n int64) float64 { return float64(n) / 1e6 }

// checkReadings looks for every reading that was ever said, with its last value,
// and with the value that it had before it was revised.
func (s *soak) checkReadings(t *testing.T) {
	t.Helper()
	lost, wrong, total, revisions := 0, 0, 0, 0
	now := s.Now()
	last := now.Truncate(time.Hour).Add(10 * time.Minute) // of the last fetch
	for i, r := range rivers(s.gauges) {
		got, err := s.store.Read(t.Context(), key(r.Slug), series.Query{})
		if err != nil {
			t.Fatal(err)
		}
		has := map[int64]float64{}
		for k := range got.Len() {
			has[got.Time[k]] = got.Value[k]
		}
		for at := s.began; at.Before(last); at = at.Add(step) {
			if s.said(i, at).After(last) {
				continue
			}
			total++
			want := s.flow(i, at)
			if x, ok := s.revised(i, at); ok && last.Sub(at) >= revisedAfter {
				want = x
				revisions++
				if before, err := s.store.Read(t.Context(), key(r.Slug), series.Query{From: at, To: at.Add(time.Second), AsOf: at.Add(revisedAfter - time.Minute)}); err == nil && before.Len() == 1 && before.Value[0] != s.flow(i, at) {
					wrong++
				}
			}
			v, ok := has[at.UnixMicro()]
			if !ok {
				lost++
			} else if v != want {
				wrong++
			}
		}
	}
	t.Logf("%d readings said, %d lost, %d wrong; %d of them revised, each readable as it was before", total, lost, wrong, revisions)
	if lost+wrong > 0 || total == 0 || revisions == 0 {
		t.Errorf("%d of %d readings were lost and %d are wrong", lost, total, wrong)
	}
}

// checkAlerts holds what was told against the script: a flood is told once and its
// end once; that we see nothing is told to those in a flood, and to nobody else.
func (s *soak) checkAlerts(t *testing.T) {
	t.Helper()
	rows, err := s.db.SQL.Query("SELECT body FROM outbox")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	got := map[string]map[string]int{}
	total := map[string]int{}
	for rows.Next() {
		var body string
		if err := rows.Scan(&body); err != nil {
			t.Fatal(err)
		}
		var items []alert.Item
		if err := json.Unmarshal([]byte(body), &items); err != nil {
			t.Fatal(err)
		}
		for _, it := range items {
			if got[it.River] == nil {
				got[it.River] = map[string]int{}
			}
			got[it.River][it.Kind]++
			total[it.Kind]++
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	for i, r := range rivers(s.gauges) {
		want := map[string]int{}
		var least, most int // mails that we have no data
		switch i % 10 {
		case 0:
			want = map[string]int{alert.KindRise: 1, alert.KindClear: 1}
			least, most = s.withoutData(t, r.Slug, s.flood)
		case 1:
			want = map[string]int{alert.KindRise: 1, alert.KindClear: 1}
			least, most = s.withoutData(t, r.Slug, s.longFlood)
		}
		blind := got[r.Slug][alert.KindNoData]
		delete(got[r.Slug], alert.KindNoData)
		if !maps.Equal(got[r.Slug], want) || blind < least || blind > most {
			t.Errorf("%s was told %v and %d times that we have no data, want %v and %d to %d", r.Slug, got[r.Slug], blind, want, least, most)
		}
	}
	if total[alert.KindNoData] == 0 {
		t.Error("nobody was told in the outage that we have no data: nothing was tried")
	}
	states, again := map[string]int{}, 0
	unknown := unanswered(t, s.db)
	mails, err := s.db.SQL.Query("SELECT state, dedupe_key, message_id FROM outbox")
	if err != nil {
		t.Fatal(err)
	}
	defer mails.Close()
	s.sink.mu.Lock()
	defer s.sink.mu.Unlock()
	for mails.Next() {
		var state, key, id string
		if err := mails.Scan(&state, &key, &id); err != nil {
			t.Fatal(err)
		}
		states[state]++
		n := s.sink.got["<"+id+"@example.org>"]
		if n < 1 || n > 1+unknown[key] {
			t.Errorf("mail %s came %d times, and %d answers were lost", key, n, unknown[key])
		}
		again += n - 1
	}
	if err := mails.Err(); err != nil {
		t.Fatal(err)
	}
	t.Logf("told: %v; mails by state: %v; %d arrived, %d answers were lost, and after %d of them a caution came again", total, states, len(s.sink.got), s.sink.lost, again)
	if again+states["unknown"] != s.sink.lost {
		t.Errorf("%d answers were lost, %d mails came again and %d were left in doubt", s.sink.lost, again, states["unknown"])
	}
	if states["sent"]+states["unknown"] != len(s.sink.got) {
		t.Errorf("%v and %d arrived", states, len(s.sink.got))
	}
}

// withoutData counts the spells of a flood in which the newest reading that had come in
// was more than three hours old when somebody looked: in the outage, and where bad
// answers follow each other. A look beside a fetch may come before it or after it,
// the flood is told for some hours after its end, and nobody is told that we are
// without data who was not told of the flood: hence two bounds.
func (s *soak) withoutData(t *testing.T, slug string, flood [2]int) (least, most int) {
	t.Helper()
	var known time.Time // when the flood was first read
	was, wasSurely := false, false
	for h := flood[0]; h < flood[1]+12 && h <= s.hours+s.after; h++ {
		fetch := s.began.Add(time.Duration(h)*time.Hour + 10*time.Minute)
		half := fetch.Add(30 * time.Minute)
		for _, look := range []time.Time{fetch, half} {
			got, err := s.store.Read(t.Context(), key(slug), series.Query{From: look.Add(-24 * time.Hour), To: look, AsOf: look.Add(-time.Microsecond)})
			if err != nil {
				t.Fatal(err)
			}
			if got.Len() == 0 {
				continue
			}
			last := got.Len() - 1
			old := look.Sub(got.At(last)) > alert.NoDataAfter
			if old && !was {
				most++
			}
			was = old
			if known.IsZero() && look.Equal(half) && !old && got.Value[last] > 100 {
				known = look
			}
		}
		// A lone reading of the highest level counts after an hour.
		surely := was && !known.IsZero() && half.Sub(known) >= time.Hour && h < flood[1]
		if surely && !wasSurely {
			least++
		}
		wasSurely = surely
	}
	return least, most
}

func (s *soak) checkOutlooks(t *testing.T) {
	t.Helper()
	for h := 6; h <= s.hours; h += 6 {
		for _, r := range rivers(s.gauges) {
			at := s.began.Add(time.Duration(h) * time.Hour)
			if ok, err := s.house.Archive.Issued(t.Context(), r.Slug, at, forecast.ModelVersion); err != nil || !ok {
				t.Errorf("no outlook of %s at %s: %v", r.Slug, at, err)
			}
		}
	}
}

// checkGrowth predicts the last day from the first: what grows by the reading
// grows on, and memory does not grow at all.
func checkGrowth(t *testing.T, all []measure) {
	t.Helper()
	at := map[int]measure{}
	for _, m := range all {
		at[m.hour] = m
	}
	a, b, c := at[12], at[24], at[72]
	for _, x := range []struct {
		what    string
		a, b, c int64
	}{{"series", a.series, b.series, c.series}, {"database", a.base, b.base, c.base}} {
		want := x.b + 4*(x.b-x.a)
		t.Logf("%s: %.1f MB predicted from hours 12 to 24, %.1f MB found", x.what, mb(want), mb(x.c))
		if r := float64(x.c) / float64(want); r < 0.75 || r > 1.25 {
			t.Errorf("%s: %.1f MB, predicted %.1f MB", x.what, mb(x.c), mb(want))
		}
	}
	t.Logf("heap: %.1f MB after a day, %.1f MB after three; process: %.0f MB, %.0f MB", mb(b.heap), mb(c.heap), mb(b.rss), mb(c.rss))
	// What the heap does not show: pages that SQLite keeps.
	if float64(c.rss) > 1.4*float64(b.rss) {
		t.Errorf("the process grew from %.0f to %.0f MB", mb(b.rss), mb(c.rss))
	}
	if float64(c.heap) > 1.3*float64(b.heap)+4e6 {
		t.Errorf("the heap grew from %.1f to %.1f MB", mb(b.heap), mb(c.heap))
	}
}
