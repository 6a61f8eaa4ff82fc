package main

import (
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// Each fault that an operator must hear of turns the health red, is named, and the
// health comes back by itself once the fault is gone. The looks are half a
// second apart here; at the default of 30 s every one of these is told within
// two minutes, since no look waits for more than 2.5 of them and half of one.
func TestEachFaultTurnsTheHealthRedAndItComesBackByItself(t *testing.T) {
	if testing.Short() {
		t.Skip("it runs a server")
	}
	t.Parallel()
	relay, mailLines := openMoodyRelay(t)
	from0, config := loggerAndAir(t, "°C", "°C")
	text, err := os.ReadFile(config)
	if err != nil {
		t.Fatal(err)
	}
	dir := smallDisk(t, "96m")
	for _, name := range []string{"logger.csv", "air.csv"} {
		b, err := os.ReadFile(filepath.Join(from0, name))
		if err := errors.Join(err, os.WriteFile(filepath.Join(dir, name), b, 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "eclose.toml")
	if err := os.WriteFile(path, []byte(string(text)+mailLines+"[serve]\npublic-url = \"https://eclose.example.org\"\n[health]\ninterval = \"500ms\"\nfree-mb = 8\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var later atomic.Int64
	clock := from(afterTheBeck.AddDate(0, 0, -2))
	url, log, stop := serve(t, func() time.Time { return clock().Add(time.Duration(later.Load())) }, "--config", path)
	toOperator := func(says string) func() bool {
		return func() bool {
			return slices.ContainsFunc(relay.all(), func(m string) bool {
				return strings.Contains(m, "To: <keeper@example.org>") && strings.Contains(plain(m), says)
			})
		}
	}
	healthy := func() bool { code, _ := report(t, url); return code == 200 }
	var last string
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("the last report: %s", last)
		}
	})
	red := func(what string, check ...string) {
		t.Helper()
		until(t, what, log, func() bool {
			code, body := get(t, url+"/health")
			last = body
			if code != 503 {
				return false
			}
			_, r := report(t, url)
			for _, name := range check {
				found := false
				for _, c := range r.Checks {
					found = found || c.Name == name && c.Problem != ""
				}
				if !found {
					return false
				}
			}
			return true
		})
	}
	green := func(what string) {
		t.Helper()
		until(t, what, log, func() bool { _, last = get(t, url+"/health"); return healthy() })
	}
	until(t, "the first look", log, func() bool { code, r := report(t, url); return code == 200 && len(r.Checks) > 8 })
	until(t, "readings", log, func() bool { _, err := os.Stat(filepath.Join(dir, "series", "index")); return err == nil })

	t.Run("a full disk", func(t *testing.T) {
		fill := filepath.Join(dir, "ballast")
		f, err := os.Create(fill)
		if err != nil {
			t.Fatal(err)
		}
		for block := make([]byte, 1<<16); err == nil; {
			_, err = f.Write(block)
		}
		if !errors.Is(err, syscall.ENOSPC) {
			t.Fatal(err)
		}
		f.Close()
		red("a full disk", "disk-free", "database-write", "store-write")
		until(t, "a mail to the operator", log, toOperator("less than 8 MB"))
		if err := os.Remove(fill); err != nil {
			t.Fatal(err)
		}
		green("room again")
	})

	t.Run("a damaged page of the database", func(t *testing.T) {
		file := filepath.Join(dir, "eclose.db")
		at := pageOf(t, file, "sighting") // nobody writes to it meanwhile
		swap(t, file, at, 0xff)
		red("a damaged page", "database-pages")
		swap(t, file, at, 0xff)
		green("the page mended")
	})

	t.Run("a damaged index", func(t *testing.T) {
		file := ""
		err := filepath.WalkDir(filepath.Join(dir, "series", "index"), func(p string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() && strings.Contains(p, "water_temperature") {
				file = p
			}
			return err
		})
		info, serr := os.Stat(file)
		if err != nil || serr != nil {
			t.Fatal(err, serr)
		}
		swap(t, file, info.Size()/2, 1)
		red("a damaged index", "series-index")
		swap(t, file, info.Size()/2, 1)
		green("the index mended")
	})

	t.Run("a dead relay", func(t *testing.T) {
		relay.die()
		red("a dead relay", "relay")
		relay.open(relay.addr)
		green("the relay back")
	})

	t.Run("an expired certificate", func(t *testing.T) {
		relay.current.Store(relay.certificate(time.Now().Add(-time.Hour)))
		red("an expired certificate", "relay")
		if !strings.Contains(last, "expired") {
			t.Errorf("the certificate is not named: %s", last)
		}
		relay.current.Store(relay.valid)
		green("a valid certificate")
	})

	// One mail in a quarter of an hour, and then that it is well again.
	if n := len(relay.all()); n != 1 {
		t.Errorf("%d mails to the operator:\n%s", n, strings.Join(relay.all(), "\n"))
	}
	later.Store(int64(16 * time.Minute))
	until(t, "a second mail to the operator", log, toOperator("resolved: disk-free"))
	if code := stop(); code != 0 {
		t.Errorf("stopped with %d\n%s", code, log)
	}
}

// smallDisk is a folder on a disk of its own.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("mounting a small disk: %v", err)
		}
		t.Skipf("mounting a small disk is not permitted here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Errorf("unmounting %s: %v", dir, err)
		}
	})
	return dir
}

// pageOf is where the first page of a table begins in an SQLite file, once what
// was written lies in the file itself.
func pageOf(t *testing.T, file, table string) int64 {
	t.Helper()
	d, err := sql.Open("sqlite", "file:"+file+"?_pragma=busy_timeout(10000)")
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	var page, size, busy int64
	if err := d.QueryRow("PRAGMA wal_checkpoint(FULL)").Scan(&busy, new(int), new(int)); err != nil || busy != 0 {
		t.Fatal(busy, err)
	}
	if err := d.QueryRow("PRAGMA page_size").Scan(&size); err != nil {
		t.Fatal(err)
	}
	if err := d.QueryRow("SELECT rootpage FROM sqlite_master WHERE name = '" + table + "'").Scan(&page); err != nil {
		t.Fatal(err)
	}
	return (page - 1) * size
}

// swap flips bits of one byte of a file; twice the same leaves it as it was.
func swap(t *testing.T, file string, at int64, bits byte) {
	t.Helper()
	f, err := os.OpenFile(file, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	b := []byte{0}
	if _, err := f.ReadAt(b, at); err != nil {
		t.Fatal(err)
	}
	b[0] ^= bits
	if _, err := f.WriteAt(b, at); err != nil {
		t.Fatal(err)
	}
}
