package app

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
)

// issueOf is an issue of a river.
func issueOf(n int) archive.Issue {
	return archive.Issue{River: fmt.Sprintf("river-%d", n), Issued: time.Date(2026, 5, 18, 19, 0, 0, 0, time.UTC), ModelVersion: "1"}
}

func TestAForecastIsReadOnceHoweverManyAskForIt(t *testing.T) {
	var reads atomic.Int32
	begun, end := make(chan struct{}), make(chan struct{})
	k := newOpened(1<<20, func(context.Context, archive.Issue) (*forecast.Outlook, error) {
		if reads.Add(1) == 1 {
			close(begun)
		}
		<-end
		return &forecast.Outlook{River: "river-1"}, nil
	})
	leaving, leave := context.WithCancel(t.Context())
	var all sync.WaitGroup
	all.Go(func() {
		if _, err := k.get(leaving, issueOf(1)); !errors.Is(err, context.Canceled) {
			t.Errorf("who left got %v", err)
		}
	})
	<-begun
	for range 20 {
		all.Go(func() {
			if o, err := k.get(t.Context(), issueOf(1)); err != nil || o.River != "river-1" {
				t.Errorf("%+v %v", o, err)
			}
		})
	}
	leave() // the first who asked, and the reading goes on for the others
	time.Sleep(10 * time.Millisecond)
	close(end)
	all.Wait()
	if n := reads.Load(); n != 1 {
		t.Errorf("read %d times", n)
	}
}

func TestAReadingThatFailsIsTriedAgain(t *testing.T) {
	fails := true
	k := newOpened(1<<20, func(context.Context, archive.Issue) (*forecast.Outlook, error) {
		if fails {
			return nil, errors.New("the disk is away")
		}
		return &forecast.Outlook{}, nil
	})
	if _, err := k.get(t.Context(), issueOf(1)); err == nil {
		t.Fatal("no error")
	}
	fails = false
	if _, err := k.get(t.Context(), issueOf(1)); err != nil {
		t.Error(err)
	}
}

func TestNoMoreForecastsAreKeptThanFit(t *testing.T) {
	reads := map[string]int{}
	one := &forecast.Outlook{Water: make([]forecast.WaterDay, 1000)}
	k := newOpened(10*one.Size(), func(_ context.Context, i archive.Issue) (*forecast.Outlook, error) {
		reads[i.River]++
		o := *one
		return &o, nil
	})
	for n := range 25 {
		for _, i := range []archive.Issue{issueOf(n), issueOf(0)} { // somebody looks at the first all the time
			if _, err := k.get(t.Context(), i); err != nil {
				t.Fatal(err)
			}
		}
		if k.kept.Len() > 10 || k.bytes != k.kept.Len()*one.Size() {
			t.Fatalf("%d kept, counted as %d bytes of at most %d", k.kept.Len(), k.bytes, k.most)
		}
	}
	if reads["river-0"] != 1 || k.kept.Len() != 10 {
		t.Errorf("the one that is looked at was read %d times, %d are kept", reads["river-0"], k.kept.Len())
	}
}
