package csvfile

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// clock turns the cells of the time column into instants.
type clock struct {
	layouts []string
	unix    bool
	offset  bool // the cells carry their own offset
	zone    *time.Location
	pivot   int
	twoYear bool
}

var iso = []string{
	time.RFC3339, "2006-01-02 15:04:05Z07:00", "2006-01-02T15:04Z07:00",
	"2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02 15:04", time.DateOnly,
}

var fixed = regexp.MustCompile(`^(?:UTC|GMT)?([+-])(\d{1,2}):?(\d{2})?$`)

// loadZone reads an IANA name or a fixed offset such as "UTC-08:00" or
// "+05:30". The name "Local" is refused: a file does not know which machine
// reads it.
func loadZone(name string) (*time.Location, error) {
	if m := fixed.FindStringSubmatch(strings.ToUpper(strings.TrimSpace(name))); m != nil {
		h, _ := strconv.Atoi(m[2])
		mi, _ := strconv.Atoi("0" + m[3])
		if h > 14 || mi > 59 {
			return nil, fmt.Errorf("zone %q is not a valid offset", name)
		}
		s := h*3600 + mi*60
		if m[1] == "-" {
			s = -s
		}
		return time.FixedZone(name, s), nil
	}
	if name == "" || name == "Local" {
		return nil, fmt.Errorf("no zone is set")
	}
	z, err := time.LoadLocation(name)
	if err != nil {
		return nil, fmt.Errorf("zone %q is neither an IANA name such as \"Europe/London\" nor an offset such as \"UTC-08:00\"", name)
	}
	return z, nil
}

func newClock(p *Parser) (*clock, error) {
	c := &clock{pivot: p.TwoDigitYearsFrom}
	switch strings.ToLower(p.Layout) {
	case "", "iso8601", "iso":
		c.layouts = iso
	case "unix":
		c.unix = true
	default:
		c.layouts = []string{p.Layout}
		c.offset = strings.Contains(p.Layout, "Z07") || strings.Contains(p.Layout, "-07")
		long := strings.Contains(p.Layout, "2006")
		c.twoYear = !long && strings.Contains(p.Layout, "06")
		if !long && !c.twoYear {
			return nil, fmt.Errorf("time-layout %q has no year; use Go's notation, e.g. 2006-01-02 15:04:05", p.Layout)
		}
		if c.twoYear && c.pivot == 0 {
			return nil, fmt.Errorf("time-layout %q has two-digit years; set two-digit-years-from, e.g. 1950", p.Layout)
		}
	}
	if c.unix || c.offset || p.onlyDays() {
		c.zone = time.UTC
	}
	if p.Zone != "" {
		z, err := loadZone(p.Zone)
		if err != nil {
			return nil, err
		}
		c.zone = z
	}
	return c, nil
}

// stamp is what one cell says: an instant, or a wall clock time whose instant
// its neighbours may have to decide.
type stamp struct {
	known bool
	at    time.Time // the instant if known, else the wall clock read as if it were UTC
}

func (c *clock) read(cell string) (stamp, error) {
	if c.unix {
		n, err := strconv.ParseInt(cell, 10, 64)
		if err != nil || n > 1e10 || n < -1e10 {
			return stamp{}, fmt.Errorf("%q is not a number of seconds since 1970", ingest.Clip(cell))
		}
		t := time.Unix(n, 0).UTC()
		return stamp{known: true, at: t}, ingest.YearInRange(t)
	}
	for _, l := range c.layouts {
		t, err := time.Parse(l, cell)
		if err != nil {
			continue
		}
		if c.twoYear {
			y := t.Year() % 100
			y += c.pivot - c.pivot%100
			if y < c.pivot {
				y += 100
			}
			t = time.Date(y, t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), t.Location())
		}
		if err := ingest.YearInRange(t); err != nil {
			return stamp{}, fmt.Errorf("%q %w", ingest.Clip(cell), err)
		}
		if strings.Contains(l, "Z07") || strings.Contains(l, "-07") {
			return stamp{known: true, at: t.UTC()}, nil
		}
		return stamp{at: t}, nil
	}
	want := "a time like 2026-05-01T14:30"
	if len(c.layouts) == 1 {
		want = "a time like " + c.layouts[0]
	}
	return stamp{}, fmt.Errorf("%q is not %s", ingest.Clip(cell), want)
}
