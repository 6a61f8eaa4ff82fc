package work_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/series"
)

// forgetful is a reader whose store fails.
type forgetful struct{ *work.Reader }

var errAway = errors.New("the store is away")

func (forgetful) Read(context.Context, ingest.Key, series.Query) (ingest.Series, error) {
	return ingest.Series{}, errAway
}

// A river that has been watched for a year or two has seasons of which too little
// is known. They are computed once and left out by name; a job fails again and
// again only where another attempt may do better.
func TestSeasonsOfAYoungRiverAreLeftOutNotRetried(t *testing.T) {
	besideOthers(t)
	dir := ingested(t, 2)
	catalogue, store, files := opened(t, dir)
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	reader := &work.Reader{Store: store, Now: time.Now}
	h := &work.Service{DB: d, Rivers: national(1), Catalogue: catalogue, Read: reader, Files: files, Archive: archive.New(d, files), Log: zerolog.Nop()}
	q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	h.Queue = q
	b := work.Backtest{First: 2023, Last: 2025, Leads: []int{0, 14}, Every: 60, Members: 10, Now: demo.Issue}
	if err := work.WriteBacktest(t.Context(), files, "young", b); err != nil {
		t.Fatal(err)
	}
	river := national(1)[0].Slug
	for season := b.First; season <= b.Last; season++ {
		if err := h.BacktestSeason(t.Context(), jobs.BacktestSeason{Run: "young", River: river, Season: season}); err != nil {
			t.Errorf("season %d: %v", season, err)
		}
	}
	left := 0
	err = files.List(t.Context(), work.BacktestFolder("young")+"/slices", func(name string, _ int64) error {
		text, err := files.Read(t.Context(), name, 1<<20)
		if strings.Contains(string(text), "too little data") {
			left++
		}
		return err
	})
	if err != nil || left != 2 {
		t.Errorf("%d seasons are left out for want of readings, not the 2 before the first whole year, %v", left, err)
	}

	var final jobs.Final
	// An outlook of the first year, and a river that nothing was ever read of.
	if err := h.Outlook(t.Context(), jobs.Outlook{River: river, Issue: demo.Issue.AddDate(-1, -2, 0)}); !errors.As(err, &final) || !errors.Is(err, forecast.ErrNothingKnown) {
		t.Errorf("an outlook from ten months of readings: %v", err)
	}
	h.Read = forgetful{reader}
	if err := h.BacktestSeason(t.Context(), jobs.BacktestSeason{Run: "young", River: river, Season: 2025}); err == nil || errors.As(err, &final) {
		t.Errorf("a season whose readings could not be read: %v", err)
	}
	if err := h.Outlook(t.Context(), jobs.Outlook{River: river, Issue: demo.Issue}); err == nil || errors.As(err, &final) {
		t.Errorf("an outlook whose readings could not be read: %v", err)
	}
}
