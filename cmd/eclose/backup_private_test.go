package main

import (
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/ingest/db"
)

// installed is a small installation with a subscriber.
func installed(t *testing.T) (dir, path string) {
	t.Helper()
	dir, path = write(t, demo.Config("http://127.0.0.1:9"))
	if err := os.MkdirAll(filepath.Join(dir, "series"), 0o750); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := call(t, demo.Issue, "subscribe", "add", "ann@example.org", "--river", "wend", "--consent", "paper", "--config", path); code != 0 {
		t.Fatal(errs)
	}
	return dir, path
}

func TestABackupIsForItsOwnerAndHoldsNoKey(t *testing.T) {
	t.Parallel()
	dir, path := installed(t)
	file := filepath.Join(dir, "b.backup")
	code, out, errs := call(t, demo.Issue, "backup", "--config", path, "--out", file, "--verify")
	if code != 0 || !strings.Contains(out, "restore as they are") || !strings.Contains(out, "eclose.db.key") {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	for _, name := range []string{"b.backup", "eclose.db", "eclose.db.key", "eclose.db.lock"} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s is %v", name, info.Mode())
		}
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".eclose-*")); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	dir2, path2 := write(t, string(text))
	if code, _, errs := call(t, demo.Issue, "restore", "--config", path2, file); code != 2 || !strings.Contains(errs, "--key-file") || !strings.Contains(errs, "unsubscribing") {
		t.Errorf("without the key: %d %s", code, errs)
	}
	if left, _ := os.ReadDir(dir2); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	if code, _, errs := call(t, demo.Issue, "restore", "--config", path2, file, "--key-file", filepath.Join(dir, "eclose.db.key")); code != 0 {
		t.Fatalf("%d %s", code, errs)
	}
	var n int
	d, err := db.OpenReader(t.Context(), filepath.Join(dir2, "eclose.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	if err := d.SQL.QueryRow("SELECT COUNT(*) FROM secret").Scan(&n); err != nil || n != 0 {
		t.Errorf("%d keys in the backup, %v", n, err)
	}
	a, _ := os.ReadFile(filepath.Join(dir, "eclose.db.key"))
	b, _ := os.ReadFile(filepath.Join(dir2, "eclose.db.key"))
	if len(a) != 65 || string(a) != string(b) {
		t.Error("the key differs")
	}
	if info, err := os.Stat(filepath.Join(dir2, "eclose.db")); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("restored: %v, %v", info.Mode(), err)
	}
}

func TestABackupIsEncryptedOnRequest(t *testing.T) {
	t.Parallel()
	dir, path := installed(t)
	id, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	key, file := filepath.Join(dir, "age.key"), filepath.Join(dir, "b.backup")
	if err := os.WriteFile(key, []byte(id.String()+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := call(t, demo.Issue, "backup", "--config", path, "--out", file, "--recipient", id.Recipient().String(), "--verify", "--identity", key); code != 0 || !strings.Contains(out, "restore as they are") {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if head, _ := io.ReadAll(io.LimitReader(f, 21)); string(head) != "age-encryption.org/v1" {
		t.Errorf("it begins with %q", head)
	}
	text, _ := os.ReadFile(path)
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{nil, 1, "encrypted"},
		{[]string{"--identity", key}, 0, "restored"},
	} {
		_, path2 := write(t, string(text))
		code, out, errs := call(t, demo.Issue, append([]string{"restore", "--new-key", "--config", path2, file}, c.args...)...)
		if code != c.code || !strings.Contains(out+errs, c.want) {
			t.Errorf("%v: %d %s%s", c.args, code, out, errs)
		}
	}
}

// No size is too large: a database of more than 5 GiB that cannot be compressed
// is written, verified and restored. ECLOSE_BACKUP_MB sets another size.
func TestABackupOfFiveGigabytesRestores(t *testing.T) {
	if os.Getenv("ECLOSE_LONG") != "1" {
		t.Skip("it writes 30 GB: set ECLOSE_LONG=1")
	}
	megabytes := 5400
	if s := os.Getenv("ECLOSE_BACKUP_MB"); s != "" {
		var err error
		if megabytes, err = strconv.Atoi(s); err != nil {
			t.Fatal(err)
		}
	}
	began := time.Now()
	took := func(what string) {
		t.Logf("%s: %s", what, time.Since(began).Round(100*time.Millisecond))
		began = time.Now()
	}
	dir, path := installed(t)
	d, err := db.OpenMigrated(t.Context(), filepath.Join(dir, "eclose.db"))
	if err != nil {
		t.Fatal(err)
	}
	const each = 50_000_000
	rows := megabytes * 1_000_000 / each
	noise, data := rand.NewChaCha8([32]byte{1}), make([]byte, each)
	if _, err := d.SQL.Exec("CREATE TABLE big (b BLOB)"); err != nil {
		t.Fatal(err)
	}
	for range rows {
		_, _ = noise.Read(data) // never fails
		if _, err := d.SQL.Exec("INSERT INTO big VALUES ($1)", data); err != nil {
			t.Fatal(err)
		}
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	took("filling the database")
	file := filepath.Join(dir, "b.backup")
	if code, out, errs := call(t, demo.Issue, "backup", "--config", path, "--out", file, "--verify"); code != 0 || !strings.Contains(out, "restore as they are") {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	took("backup and verify")
	if err := os.Remove(filepath.Join(dir, "eclose.db")); err != nil { // room for the next
		t.Fatal(err)
	}
	text, _ := os.ReadFile(path)
	dir2, path2 := write(t, string(text))
	if code, _, errs := call(t, demo.Issue, "restore", "--new-key", "--config", path2, file); code != 0 {
		t.Fatalf("%d %s", code, errs)
	}
	took("restore")
	if info, err := os.Stat(filepath.Join(dir2, "eclose.db")); err != nil || info.Size() < int64(rows*each) {
		t.Errorf("%v, %v", info, err)
	}
}
