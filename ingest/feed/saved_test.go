package feed_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/feed/usgslegacy"
)

func TestASavedFileGivesItsPartAndSaysWhenItIsOfAnotherSite(t *testing.T) {
	const body = "agency_cd\tsite_no\tdatetime\ttz_cd\t100_00010\t100_00010_cd\n5s\t15s\t20d\t6s\t14n\t10s\n" +
		"USGS\t11111111\t2019-06-01 12:00\tPDT\t11.5\tP\nUSGS\t11111111\t2019-06-01 12:15\tPDT\t11.6\tP\n"
	path := filepath.Join(t.TempDir(), "saved.rdb")
	if err := os.WriteFile(path, []byte(body), 0o600); err != nil {
		t.Fatal(err)
	}
	s := feed.Saved{Parser: usgslegacy.Parser{}, Path: path, Now: now}
	var got []ingest.Series
	take := func(x ingest.Series) error { got = append(got, x); return nil }
	req := ingest.Request{Site: "USGS-11111111", Variables: []ingest.Variable{ingest.WaterTemperature}, To: time.Date(2019, 6, 1, 19, 15, 0, 0, time.UTC)}
	if err := s.Fetch(t.Context(), req, take); err != nil || len(got) != 1 || got[0].Len() != 1 || got[0].Value[0] != 11.5 || got[0].Retrieved[0] != theEnd.UnixMicro() {
		t.Fatalf("%+v, %v", got, err)
	}
	req.Site = "USGS-22222222"
	if err := s.Fetch(t.Context(), req, take); err == nil || !strings.Contains(err.Error(), "no series of site USGS-22222222") || !strings.Contains(err.Error(), path) {
		t.Errorf("another site: %v", err)
	}
	if err := os.WriteFile(path, []byte(body[:80]), 0o600); err != nil {
		t.Fatal(err)
	}
	err := s.Fetch(t.Context(), req, take)
	if again, _ := ingest.Retryable(err); err == nil || again || !strings.Contains(err.Error(), path) {
		t.Errorf("a cut file: %v", err)
	}
	s.Path = filepath.Join(t.TempDir(), "absent")
	if err := s.Fetch(t.Context(), req, take); !errors.As(err, new(*ingest.Error)) || strings.Count(err.Error(), s.Path) != 1 {
		t.Errorf("an absent file: %v", err)
	}
}
