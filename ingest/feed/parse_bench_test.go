package feed_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/feed/replay"
)

// BenchmarkParse parses the largest recorded response of each feed, and an
// invented year of quarter hours in the two formats that are read most.
func BenchmarkParse(b *testing.B) {
	run := func(name, parser string, in []byte) {
		b.Run(name, func(b *testing.B) {
			p, err := feed.Parser(parser, feed.Options{})
			if err != nil {
				b.Fatal(err)
			}
			b.SetBytes(int64(len(in)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := p.Parse(bytes.NewReader(in)); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	run("usgs/year", "usgs", ogc())
	dir := replay.Shared(b, "feeds")
	for _, c := range []struct{ folder, parser string }{
		{"usgs-ogc-v1", "usgs"}, {"open-meteo", "open-meteo"}, {"nws", "nws"}, {"ghcn", "ghcn"}, {"uk-ea-hydrology", "ea"}, {"uk-ea-flood", "ea"},
		{"ca-eccc", "eccc"}, {"ch-bafu", "bafu"}, {"waterml2", "waterml2"},
	} {
		files, err := filepath.Glob(filepath.Join(dir, c.folder, "*"))
		if err != nil {
			b.Fatal(err)
		}
		p, err := feed.Parser(c.parser, feed.Options{})
		if err != nil {
			b.Fatal(err)
		}
		var largest []byte
		name := ""
		for _, f := range files {
			in, err := os.ReadFile(f)
			if err != nil {
				b.Fatal(err)
			}
			if _, err := p.Parse(bytes.NewReader(in)); err == nil && len(in) > len(largest) {
				largest, name = in, filepath.Base(f)
			}
		}
		if largest == nil {
			b.Fatalf("%s: no recorded response parses", c.folder)
		}
		run(c.folder+"/"+name, c.parser, largest)
	}
}
