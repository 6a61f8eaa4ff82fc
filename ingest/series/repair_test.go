package series

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"example.org/eclose/ingest"
)

// What a damaged index named is put aside with it: else the next Compact would
// take it for the leavings of a crash, and a feed that shows the newest readings
// only cannot give it again.
func TestTheReadingsOfADamagedIndexAreKeptAsideFromCompact(t *testing.T) {
	folder := t.TempDir()
	s, err := Open(t.Context(), "file://"+folder)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	one := quarterHours(ingest.WaterTemperature, 2024, 1)
	for _, at := range []int{1, 2} { // the second time revised: there are replaced readings too
		for i := range one.Value {
			one.Value[i] += float64(at) / 10
		}
		if _, err := s.Put(t.Context(), one, day(2026, 1, at)); err != nil {
			t.Fatal(err)
		}
	}
	held := map[string][]byte{}
	index := ""
	for _, sub := range []string{dataFolder, pastFolder, indexFolder} {
		err := filepath.WalkDir(filepath.Join(folder, sub), func(p string, d os.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			if sub == indexFolder {
				index = p
				return nil
			}
			name, _ := filepath.Rel(folder, p)
			held[name], err = os.ReadFile(p)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if len(held) < 2 {
		t.Fatalf("%d files of readings", len(held))
	}
	b, err := os.ReadFile(index)
	if err != nil {
		t.Fatal(err)
	}
	b[len(b)/2] ^= 1
	if err := os.WriteFile(index, b, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := s.Repair(t.Context())
	if err != nil || len(out) != 1 || !out[0].Whole || out[0].Parts != len(held) {
		t.Fatalf("%+v, %v", out, err)
	}
	if _, err := s.Compact(t.Context(), day(2026, 2, 1)); err != nil {
		t.Fatal(err)
	}
	for name, was := range held {
		if is, err := os.ReadFile(filepath.Join(folder, damagedFolder, name)); err != nil || !bytes.Equal(is, was) {
			t.Errorf("%s is not kept: %v", name, err)
		}
	}
	if c, err := s.Put(t.Context(), one, day(2026, 2, 1)); err != nil || c.Added != one.Len() {
		t.Errorf("what is fetched again: %+v, %v", c, err)
	}
	if r := mustVerify(t, s); len(r.Strays) > 0 {
		t.Errorf("left behind: %v", r.Strays)
	}
}
