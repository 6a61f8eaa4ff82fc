package work

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/robfig/cron/v3"
	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/forecast/records"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/webhook"
)

// Queue is where follow-up jobs go.
type Queue interface {
	AddTx(ctx context.Context, tx *db.Tx, all ...jobs.Args) (added int, err error)
	Now() time.Time
}

// Forgetter deletes what is kept no longer and says how much.
type Forgetter interface {
	Clean(context.Context) (map[string]int64, error)
}

// Service holds what the jobs need. All fields are set before the first job.
type Service struct {
	Queue     Queue
	DB        *db.DB
	Rivers    []forecast.River
	Catalogue *insects.Catalogue
	Read      forecast.Reader
	Files     *series.Files
	Archive   *archive.Archive
	Alerts    *alert.Store
	People    Forgetter
	Forgot    func(what string, n int)                           // called with what retention deleted; may be nil
	Transport alert.Transport                                    // nil: there is no relay, mails wait
	Ask       func(ctx context.Context, invitation string) error // has an address confirmed; nil: there is no relay
	Hooks     *webhook.Store                                     // nil: none
	Units     wading.Units
	PublicURL string
	Notice    string // for the exports; may be empty
	Members   int    // of an outlook; 0: the forecast's own default
	Log       zerolog.Logger

	// Issue and Look stand for the science where a test or a rehearsal wants none:
	// the outlook of a river, and the caution of its water. nil: the real ones.
	Issue  func(ctx context.Context, r forecast.River, at time.Time) (*forecast.Outlook, error)
	Assess func(ctx context.Context, r forecast.River, now time.Time) (alert.Reading, error)

	Tasks    func() ([]schedule.RiverTasks, error) // what each river asks, as of now
	Backfill time.Duration
	Overlap  time.Duration

	Warned      []sources.Warned         // rivers with a service of official warnings
	Records     *records.Fetcher         // of open records; nil: none
	RecordPlace map[string]records.Place // by river
	RecordFeeds map[string]cron.Schedule // when each source is asked
	Neighbours  []string                 // URLs of what neighbouring installations share
	Web         *client.Client           // asks them
	Stages      *nwps.Source             // of flood stages of USGS gauges; nil: none

	begun sync.Map // slugs of rivers whose first outlook this process has put into the queue

	Feeds            map[string]cron.Schedule // when each feed is asked
	Warnings         map[string]cron.Schedule // when each feed is asked for warnings
	Jitter           map[string]time.Duration // over how long the requests of a slot are spread, where the config says
	ForecastSchedule cron.Schedule            // when outlooks are issued

	LeftOut *schedule.LeftOut // what feeds left out of their answers; nil: not counted

	climates schedule.Climates

	mu     sync.Mutex
	writer *series.Store
	tasks  []schedule.RiverTasks
	made   time.Time
	issuer sync.Pool // of *forecast.Issuer
	fits   forecast.Fits
	opened *records.Open // around all rivers
	openAt time.Time     // when they were read
}

// Write gives the store in which fetches may write, or takes it away with nil.
func (h *Service) Write(s *series.Store) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.writer = s
}

func (h *Service) store() *series.Store {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.writer
}

// Handlers are the calls for the queue.
func (h *Service) Handlers() jobs.Handlers {
	return jobs.Handlers{Plan: h.Plan, Fetch: h.Fetch, Warnings: h.Warn, Records: h.FetchRecords, Neighbour: h.FetchNeighbour, Outlook: h.Outlook, Alerts: h.HandleAlerts, Tick: h.Tick, Deliver: h.Deliver, Forget: h.Forget, Invite: h.Invite, Webhook: h.SendWebhook, Calibrate: h.Calibrate, BacktestSeason: h.BacktestSeason, Export: h.Export}
}

// Periodic is what comes due by itself: one plan for each feed and one for the
// outlooks, which make the jobs of all rivers; the passing of time; the mail.
func (h *Service) Periodic() []jobs.Periodic {
	var out []jobs.Periodic
	plans := func(name, what string, feeds map[string]cron.Schedule) {
		for feed, s := range feeds {
			out = append(out, jobs.Periodic{Name: name + "-" + feed, Schedule: s, Make: func(slot time.Time) jobs.Args {
				return jobs.Plan{What: what, Feed: feed, Slot: slot}
			}})
		}
	}
	plans("fetch", jobs.PlanFetch, h.Feeds)
	plans("warnings", jobs.PlanWarnings, h.Warnings)
	plans("records", jobs.PlanRecords, h.RecordFeeds)
	if len(h.Neighbours) > 0 {
		out = append(out, jobs.Periodic{Name: "neighbours", Schedule: mustParse(neighboursAsked), Make: func(slot time.Time) jobs.Args {
			return jobs.Plan{What: jobs.PlanNeighbours, Slot: slot}
		}})
	}
	minute := mustParse("@every 1m")
	return append(out,
		jobs.Periodic{Name: "outlooks", Schedule: h.ForecastSchedule, Make: func(slot time.Time) jobs.Args {
			return jobs.Plan{What: jobs.PlanOutlooks, Slot: slot}
		}},
		jobs.Periodic{Name: "tick", Schedule: mustParse("@every 5m"), Make: func(slot time.Time) jobs.Args { return jobs.Tick{Slot: slot} }},
		jobs.Periodic{Name: "forget", Schedule: mustParse("@every 1h"), Make: func(slot time.Time) jobs.Args { return jobs.Forget{Slot: slot} }},
		jobs.Periodic{Name: "deliver", Schedule: minute, Make: func(slot time.Time) jobs.Args { return jobs.Deliver{Slot: slot} }},
	)
}

func mustParse(s string) cron.Schedule {
	p, err := jobs.ParseSchedule(s)
	if err != nil {
		panic(err) // a mistake of ours
	}
	return p
}

func (h *Service) river(slug string) (forecast.River, error) {
	for _, r := range h.Rivers {
		if r.Slug == slug {
			return r, nil
		}
	}
	return forecast.River{}, jobs.Final{Err: fmt.Errorf("river %q is no longer configured", slug)}
}

// tasksFor is how long the requests are kept: some count back from the moment
// they were made, and their sources remember what they learnt of the sites.
const tasksFor = 6 * time.Hour

func (h *Service) allTasks() ([]schedule.RiverTasks, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if now := h.Queue.Now(); h.tasks == nil || now.Sub(h.made) > tasksFor {
		p, err := h.Tasks()
		if err != nil {
			return nil, err
		}
		h.tasks, h.made = p, now
	}
	return h.tasks, nil
}

func (h *Service) tasksOf(slug string) (schedule.RiverTasks, error) {
	all, err := h.allTasks()
	if err != nil {
		return schedule.RiverTasks{}, err
	}
	for _, p := range all {
		if p.Name == slug {
			return p, nil
		}
	}
	return schedule.RiverTasks{}, jobs.Final{Err: fmt.Errorf("river %q is no longer configured", slug)}
}

// asks says whether a river asks a feed for anything.
func asks(p schedule.RiverTasks, feed string) bool {
	for _, t := range p.Tasks {
		if t.Source.Name() == feed {
			return true
		}
	}
	return false
}

// Plan makes the jobs of a slot: one for each river.
func (h *Service) Plan(ctx context.Context, p jobs.Plan) error {
	var all []jobs.Args
	switch p.What {
	case jobs.PlanFetch:
		s := h.Feeds[p.Feed]
		if s == nil {
			return jobs.Final{Err: fmt.Errorf("feed %q is no longer configured", p.Feed)}
		}
		places, err := h.allTasks()
		if err != nil {
			return err
		}
		// The requests of a slot are spread over a third of the time to the next,
		// and less where there are few; our own default.
		period := s.Next(p.Slot).Sub(p.Slot)
		within := min(period/3, 10*time.Minute, time.Duration(len(places))*2*time.Second)
		if j := h.Jitter[p.Feed]; j > 0 {
			within = min(j, period)
		}
		for _, place := range places {
			if asks(place, p.Feed) {
				f := jobs.Fetch{River: place.Name, Feed: p.Feed, Slot: p.Slot}
				all = append(all, jobs.At{Args: f, At: jobs.Spread(p.Slot, place.Name+" "+p.Feed, within)})
			}
		}
	case jobs.PlanWarnings:
		// Warnings are worth little late: they are spread over a minute at most.
		for _, w := range h.Warned {
			if w.Source.Name() == p.Feed {
				job := jobs.Warnings{River: w.River, Slot: p.Slot}
				all = append(all, jobs.At{Args: job, At: jobs.Spread(p.Slot, w.River+" warnings", min(time.Minute, time.Duration(len(h.Warned))*2*time.Second))})
			}
		}
	case jobs.PlanRecords:
		for _, r := range h.Rivers {
			all = append(all, jobs.FetchRecords{River: r.Slug, Feed: p.Feed, Slot: p.Slot})
		}
	case jobs.PlanNeighbours:
		for _, url := range h.Neighbours {
			// An hour's spread: many installations may ask one.
			all = append(all, jobs.At{Args: jobs.Neighbour{URL: url, Slot: p.Slot}, At: jobs.Spread(p.Slot, url, time.Hour)})
		}
	case jobs.PlanOutlooks:
		var err error
		if all, err = h.outlooks(ctx, p.Slot); err != nil {
			return err
		}
	default:
		return jobs.Final{Err: fmt.Errorf("unknown plan %q", p.What)}
	}
	return h.DB.Tx(ctx, func(tx *db.Tx) error {
		_, err := h.Queue.AddTx(ctx, tx, all...)
		return err
	})
}

// Reader remembers the list of keys: to list them is to look at every series, and
// each outlook asks. What another process adds is found out after a while, or
// when a river turns out to have nothing.
type Reader struct {
	*series.Store
	Now func() time.Time

	mu   sync.Mutex
	keys []ingest.Key
	at   time.Time
}

const keysFor = 10 * time.Minute

// Keys implements forecast.Reader.
func (r *Reader) Keys(ctx context.Context) ([]ingest.Key, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if now := r.Now(); r.keys == nil || now.Sub(r.at) > keysFor {
		keys, err := r.Store.Keys(ctx)
		if err != nil {
			return keys, err // with the damaged ones left out; not remembered, so that a repair shows at once
		}
		r.keys, r.at = keys, now
	}
	return r.keys, nil
}

// Forget makes the next question for keys look again.
func (r *Reader) Forget() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.keys = nil
}

// Added takes in that a series was written; one that is new makes Reader forget.
func (r *Reader) Added(keys ...ingest.Key) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, k := range keys {
		if !slices.Contains(r.keys, k) {
			r.keys = nil
			return
		}
	}
}
