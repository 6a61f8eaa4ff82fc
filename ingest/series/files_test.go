package series

import (
	"errors"
	"os"
	"testing"

	"example.org/eclose/ingest/series/seriestest"
)

func TestFilesStandBesideTheSeries(t *testing.T) {
	urls := []string{t.TempDir(), "mem://"}
	if os.Getenv(seriestest.Env) != "" {
		urls = append(urls, seriestest.S3(t))
	}
	for _, url := range urls {
		f := &Files{url, newMemBucket()}
		if url != "mem://" {
			var err error
			if f, err = OpenFiles(t.Context(), url); err != nil {
				t.Fatal(err)
			}
		}
		for _, bad := range []string{"data/x", "index/usgs/x", "past/x", "../x", "a/../data/x", "/etc/x", "x", "", `a\..\data\x`} {
			if err := f.Write(t.Context(), bad, []byte("x")); err == nil {
				t.Errorf("%s: %q was written", url, bad)
			}
		}
		if _, err := f.Read(t.Context(), "outlooks/a", 10); !errors.Is(err, ErrNoFile) {
			t.Errorf("%s: a missing file gives %v", url, err)
		}
		for range 2 {
			if err := f.Write(t.Context(), "outlooks/a", []byte("eight by")); err != nil {
				t.Fatal(err)
			}
		}
		if b, err := f.Read(t.Context(), "outlooks/a", 8); err != nil || string(b) != "eight by" {
			t.Errorf("%s: %q, %v", url, b, err)
		}
		if _, err := f.Read(t.Context(), "outlooks/a", 7); err == nil {
			t.Errorf("%s: a file longer than the limit was read", url)
		}
		var names []string
		if err := f.List(t.Context(), "outlooks", func(n string, _ int64) error { names = append(names, n); return nil }); err != nil || len(names) != 1 {
			t.Errorf("%s: %v, %v", url, names, err)
		}
		for range 2 {
			if err := f.Remove(t.Context(), "outlooks/a"); err != nil {
				t.Error(err)
			}
		}
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}
}
