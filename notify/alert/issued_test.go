package alert

import (
	"context"
	"encoding/json"
	"fmt"
	"sync"
	"testing"
	"time"

	"example.org/eclose/forecast"
)

// issuedFiles stand for the archive.
type issuedFiles struct {
	mu  sync.Mutex
	all map[string]Outlook
}

func (f *issuedFiles) add(o Outlook) Issued {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.all == nil {
		f.all = map[string]Outlook{}
	}
	name := fmt.Sprintf("%s %s", o.River, o.Issued.Format(time.RFC3339Nano))
	f.all[name] = o
	return Issued{River: o.River, At: o.Issued, File: name, SHA256: "x"}
}

func (f *issuedFiles) find(_ context.Context, i Issued) (*Outlook, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	o, ok := f.all[i.File]
	if !ok {
		return nil, fmt.Errorf("no file %s", i.File)
	}
	return &o, nil
}

// evenDays are n days of the same chance.
func evenDays(from time.Time, n int, p float64) forecast.Days {
	days := make([]forecast.Day, n)
	for i := range days {
		days[i] = forecast.Day{Date: forecast.DateOf(from) + forecast.Date(i), P: p}
	}
	return forecast.DaysOf(days)
}

// A row that a version before the archive's files wrote holds the facts
// themselves.
func TestAnOlderRowOfNewsIsRead(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", nil)
		d.outlook("wend", 0.9, "2026-06-14", "2026-06-30")
		body, err := json.Marshal(d.files.only())
		d.must(err)
		_, err = d.s.db.SQL.ExecContext(t.Context(), "UPDATE news SET body = $1 WHERE id LIKE 'o:%'", string(body))
		d.must(err)
		d.files.all = nil
		if ls := d.turns(); len(ls) != 1 || ls[0].Items[0].About == nil || ls[0].Items[0].About.Days.Len() == 0 {
			t.Errorf("%d mails", len(ls))
		}
	})
}

// only returns the one outlook that was added.
func (f *issuedFiles) only() Outlook {
	for _, o := range f.all {
		return o
	}
	return Outlook{}
}
