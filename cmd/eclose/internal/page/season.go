package page

import (
	"cmp"
	"context"
	"fmt"
	"html/template"
	"net/http"
	"sort"
	"strings"
	"sync"
	"time"

	"github.com/hashicorp/golang-lru/v2/simplelru"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/chart"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/model/insects"
)

// Days of the season's picture: how far back and how many in all. Our own.
const (
	seasonBack = 30
	seasonDays = 270
)

// weekLeast is the least chance in a week that is shown in a season. Our own
// default.
const weekLeast = 0.01

type seasonGroup struct {
	Key, Name, Also string
	Grade           string
	Stages          []stageLine
	Why             string // how its season lies
	Elsewhere       string // why lists leave it out; empty: they do not
	Row             template.HTML
}

// dateless is 1 for a group that is there all year, which stands after those with dates.
func (g seasonGroup) dateless() int {
	for i := range g.Stages {
		if !g.Stages[i].AllYear {
			return 0
		}
	}
	return 1
}

type stageLine struct {
	Stage        forecast.Stage
	Up           bool
	Fishable     bool
	Window       forecast.Window
	AllYear      bool
	P            float64 // today
	Week         float64 // in a week
	WeekCalendar float64
	NearWeek     bool // either is worth telling
	Hours        forecast.Hours
	Ask          bool     // it is in season today: readers are asked whether they saw it
	Seen         []string // past seasons' windows seen here
}

func (s *site) season(r *http.Request) (*answer, error) {
	river, h, st, err := s.headAsked(r)
	if err != nil {
		return nil, err
	}
	var body struct {
		head
		Axis   template.HTML
		Groups []seasonGroup
	}
	body.head, body.Tab = h, "season"
	if st == nil {
		return &answer{name: "season", title: river.Name, here: "rivers", body: body}, nil
	}
	d, err := s.drawn(r.Context(), river, st, h.Today)
	if err != nil {
		return nil, err
	}
	body.Axis, body.Groups = d.axis, d.groups
	return &answer{name: "season", title: river.Name + ": the whole season", here: "rivers", body: body}, nil
}

// drawing is a season as it was drawn last. It is drawn again only for another
// outlook, day or diary: the page itself is made anew each minute, for the ages
// in it. What another process writes into the diary is drawn with the next
// outlook.
type drawing struct {
	issued  time.Time
	today   forecast.Date
	written int64
	axis    template.HTML
	groups  []seasonGroup
}

func (s *site) drawn(ctx context.Context, river forecast.River, st *State, today forecast.Date) (*drawing, error) {
	written := s.written.Load() // before the diary is read: what comes meanwhile is drawn the next time
	if d := s.drawings.of(river.Slug); d != nil && d.issued.Equal(st.Outlook.IssuedAt) && d.today == today && d.written == written {
		return d, nil
	}
	st, err := st.Whole(ctx)
	if err != nil {
		return nil, fmt.Errorf("reading the forecast of %s: %w", river.Slug, err)
	}
	seen, err := s.seen(ctx, river)
	if err != nil {
		return nil, err
	}
	picture, groups := seasonOf(st.Outlook, s.Catalogue, regionOf(river), today-seasonBack, seasonDays, today, seen)
	d := &drawing{issued: st.Outlook.IssuedAt, today: today, written: written, groups: groups}
	d.axis = template.HTML(picture.Axis()) //nolint:gosec // our own drawing
	s.drawings.keep(river.Slug, d)
	return d, nil
}

// maxDrawings is how many rivers' seasons are kept as drawn: each takes a tenth of a
// megabyte. Our own default.
const maxDrawings = 200

// drawings are the seasons of the rivers that were asked for last.
type drawings struct {
	mu  sync.Mutex
	all *simplelru.LRU[string, *drawing]
}

func (k *drawings) of(river string) *drawing {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.all == nil {
		return nil
	}
	d, _ := k.all.Get(river)
	return d
}

func (k *drawings) keep(river string, d *drawing) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.all == nil {
		k.all, _ = simplelru.NewLRU[string, *drawing](maxDrawings, nil) // fails for no number only
	}
	k.all.Add(river, d)
}

// DrawAhead draws the seasons that changed since they were drawn, so that no
// reader waits for it. Where there are more rivers than are kept, a season is drawn
// when it is asked for.
func (p *Pages) DrawAhead(ctx context.Context) error {
	if len(p.site.Data.Rivers()) > maxDrawings {
		return nil
	}
	for _, river := range p.site.Data.Rivers() {
		if ctx.Err() != nil {
			return nil
		}
		st, err := p.site.Data.State(ctx, river.Slug)
		if err == nil && st != nil && st.Outlook != nil {
			_, err = p.site.drawn(ctx, river, st, localDay(st.Outlook, p.site.Now()))
		}
		if err != nil {
			return fmt.Errorf("drawing the season of %s: %w", river.Slug, err)
		}
	}
	return nil
}

func regionOf(r forecast.River) insects.Region {
	if r.Region != "" {
		if p, err := insects.ParseRegion(r.Region); err == nil {
			return p
		}
	}
	region, _ := insects.RegionOf(r.Lat, r.Lon)
	return region
}

// seasonOf is a river's season, drawn and in words: the groups that have a
// fishable stage within the days, in the order of their peaks.
func seasonOf(o *forecast.Outlook, c *insects.Catalogue, region insects.Region, from forecast.Date, days int, today forecast.Date, seen sightings) (chart.Season, []seasonGroup) {
	picture := o.SeasonPicture(from, days, true)
	picture.Today = int(today - from)
	byName := map[string][]*forecast.StageOutlook{}
	for i := range o.Stages {
		st := &o.Stages[i]
		byName[st.Name] = append(byName[st.Name], st)
	}
	var out []seasonGroup
	for i := range picture.Lines {
		l := &picture.Lines[i]
		stages := byName[l.Name]
		if len(stages) == 0 {
			continue
		}
		key := stages[0].Group
		g := seasonGroup{Elsewhere: stages[0].WhyElsewhere(), Key: key, Name: forecast.UpperFirst(l.Name), Grade: stages[0].Grade.Word()}
		if cg, ok := c.Group(key); ok {
			g.Also = also(cg.CommonNames(region), l.Name)
		}
		for _, st := range stages {
			if st.Window.Peak.P50 == 0 {
				continue
			}
			line := stageLine{Stage: st.Stage, Up: st.Stage == forecast.Emergence, Fishable: st.Fishable, Window: st.Window, AllYear: st.AllYear, Hours: st.Hours}
			if x, ok := st.On(today); ok {
				line.P = x.P
				line.Ask = max(x.P, x.PCalendar) >= askLeast && !st.Elsewhere
			}
			if x, ok := st.On(today + 7); ok {
				line.Week, line.WeekCalendar = x.P, x.PCalendar
				line.NearWeek = max(x.P, x.PCalendar) >= weekLeast
			}
			if g.Why == "" && st.Fishable { // the other stage follows
				g.Why = forecast.UpperFirst(st.Why())
			}
			trace := &l.Emergence
			if !line.Up {
				trace = &l.EggLaying
			}
			for _, w := range seen.windows(key, st.Stage, today.Time().Year()) {
				line.Seen = append(line.Seen, w.words())
				a, b := w.on(from)
				if b >= 0 && a < days {
					trace.Seen = append(trace.Seen, [2]int{max(0, a), min(days-1, b)})
				}
			}
			g.Stages = append(g.Stages, line)
		}
		g.Row = template.HTML(picture.Row(i)) //nolint:gosec // our own drawing, its names escaped
		out = append(out, g)
	}
	sort.SliceStable(out, func(i, j int) bool { return cmp.Compare(out[i].dateless(), out[j].dateless()) < 0 })
	return picture, out
}

// also lists up to two other names in use.
func also(names []string, own string) string {
	var out []string
	for _, n := range names {
		if !strings.EqualFold(n, own) && len(out) < 2 {
			out = append(out, n)
		}
	}
	return strings.Join(out, ", ")
}

// sightings of a river, by group and stage.
type sightings map[[2]string][]diary.Sighting

func (s *site) seen(ctx context.Context, river forecast.River) (sightings, error) {
	if s.Diary == nil {
		return nil, nil
	}
	list, err := s.Diary.List(ctx, diary.Filter{River: river.Slug})
	if err != nil {
		return nil, fmt.Errorf("reading the diary of %s: %w", river.Slug, err)
	}
	return sorted(list), nil
}

func sorted(list []diary.Sighting) sightings {
	out := sightings{}
	for _, x := range list {
		k := [2]string{x.Group, x.Stage}
		out[k] = append(out[k], x)
	}
	return out
}

// seenWindow is from when to when a stage was recorded in one season.
type seenWindow struct{ first, last time.Time }

func (w seenWindow) words() string {
	if w.first.Equal(w.last) {
		return fmt.Sprintf("%d: %s", w.first.Year(), w.first.Format("2 Jan"))
	}
	return fmt.Sprintf("%d: %s to %s", w.first.Year(), w.first.Format("2 Jan"), w.last.Format("2 Jan"))
}

// on is the window carried to the year of a picture, as indices of its days.
func (w seenWindow) on(from forecast.Date) (int, int) {
	shift := from.Time().Year() - w.first.Year()
	a, b := forecast.DateOf(w.first.AddDate(shift, 0, 0)), forecast.DateOf(w.last.AddDate(shift, 0, 0))
	if b < from { // the picture runs into the next year
		a, b = forecast.DateOf(w.first.AddDate(shift+1, 0, 0)), forecast.DateOf(w.last.AddDate(shift+1, 0, 0))
	}
	return int(a - from), int(b - from)
}

// windows are those of the seasons before a year, the newest first, four at
// most.
func (s sightings) windows(group string, stage forecast.Stage, year int) []seenWindow {
	by := map[int]seenWindow{}
	for _, x := range s[[2]string{group, string(stage)}] {
		if x.Amount == diary.None {
			continue
		}
		w, ok := by[x.Day.Year()]
		if !ok || x.Day.Before(w.first) {
			w.first = x.Day
		}
		if !ok || x.Day.After(w.last) {
			w.last = x.Day
		}
		by[x.Day.Year()] = w
	}
	var out []seenWindow
	for y := year; y > year-40 && len(out) < 4; y-- {
		if w, ok := by[y]; ok {
			out = append(out, w)
		}
	}
	return out
}
