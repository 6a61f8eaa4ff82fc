package series

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/eclose/ingest"
)

// long says whether the slow tests run at full length.
func long() bool { return os.Getenv("ECLOSE_LONG") == "1" }

// The test binary starts itself again to have a process that can be killed:
// these two variables say in which folder and what to do there.
const (
	childFolder = "ECLOSE_SERIES_CHILD_FOLDER"
	childFrom   = "ECLOSE_SERIES_CHILD_FROM"
)

func TestMain(m *testing.M) {
	folder := os.Getenv(childFolder)
	if folder == "" {
		os.Exit(m.Run())
	}
	if err := child(folder, os.Getenv(childFrom)); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// child puts answer after answer until it is killed, and says of each when the
// store has taken it. From "hold" it only holds the store until its input ends.
func child(folder, from string) error {
	ctx := context.Background()
	s, err := Open(ctx, "file://"+folder)
	if err != nil {
		return err
	}
	fmt.Println("ready")
	if from == "hold" {
		_, err := fmt.Scanln()
		fmt.Println("leaving", err)
		return s.Close()
	}
	var n int
	if _, err := fmt.Sscanf(from, "years %d", &n); err == nil {
		return fillYears(ctx, s, n)
	}
	if _, err := fmt.Sscan(from, &n); err != nil {
		return err
	}
	for ; ; n++ {
		all, at := killAnswer(n)
		if _, err := s.PutAll(ctx, all, at); err != nil {
			return err
		}
		fmt.Println("took", n)
		if n%2 == 1 {
			if _, err := s.Compact(ctx, at); err != nil {
				return err
			}
			fmt.Println("compacted", n)
		}
	}
}

// fillYears puts some years of 15-minute readings, one by one, reads them to
// daily means, verifies them, and says how much memory it ever had.
func fillYears(ctx context.Context, s *Store, years int) error {
	debug.SetGCPercent(20) // so that garbage does not hide what is really held
	for year := range years {
		if _, err := s.Put(ctx, quarterHours(ingest.WaterTemperature, 1980+year, 1), day(2026, 1, 1)); err != nil {
			return err
		}
	}
	key := quarterHours(ingest.WaterTemperature, 1980, 0).Key
	days, err := s.Daily(ctx, key, Query{}, DayRule{})
	if err != nil || len(days) < 365*years-10*years {
		return fmt.Errorf("%d days, %w", len(days), err)
	}
	if _, err := s.Verify(ctx); err != nil {
		return err
	}
	if err := s.ExportCSV(ctx, io.Discard, key, Query{}); err != nil {
		return err
	}
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return err
	}
	_, peak, _ := strings.Cut(string(status), "VmHWM:")
	peak, _, _ = strings.Cut(peak, "kB")
	fmt.Println("peak", strings.TrimSpace(peak))
	return s.Close()
}

func TestMemoryDoesNotGrowWithTheYears(t *testing.T) {
	if _, err := os.Stat("/proc/self/status"); err != nil {
		t.Skip("this system does not say how much memory a process had")
	}
	peak := map[int]int{}
	for _, years := range []int{3, 24} {
		c, lines := start(t, t.TempDir(), fmt.Sprint("years ", years))
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		kB := 0
		for lines.Scan() {
			fmt.Sscanf(lines.Text(), "peak %d", &kB)
		}
		if err := c.Wait(); err != nil || kB == 0 {
			t.Fatalf("%d years: %v", years, err)
		}
		peak[years] = kB
	}
	t.Logf("peak memory: %d MB with 3 years of 15-minute readings, %d MB with 24", peak[3]/1024, peak[24]/1024)
	if peak[24] > peak[3]*3/2 {
		t.Errorf("eight times the years took %d kB, not %d kB", peak[24], peak[3])
	}
}

// killAnswer is answer number n: readings that come, change and go over the
// turn of a year, of one gauge and of an ensemble.
func killAnswer(n int) ([]ingest.Series, time.Time) {
	r := rand.New(rand.NewPCG(uint64(n), 5))
	at := day(2026, 1, 1).Add(time.Duration(n) * time.Minute)
	from := day(2025, 12, 10+r.IntN(10))
	all := []ingest.Series{randomAnswer(r, wendTemperature, from)}
	for m := 1; m <= 3; m++ {
		k := ingest.Key{Feed: "open-meteo", Site: "54.5,-2.5", Variable: ingest.AirTemperature, Statistic: ingest.Instant, Member: m}
		all = append(all, randomAnswer(r, k, from))
	}
	return all, at
}

func start(t *testing.T, folder, from string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), childFolder+"="+folder, childFrom+"="+from)
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	return c, bufio.NewScanner(out)
}

func TestKillingTheProcessAtAnyInstantLosesTearsAndDoublesNothing(t *testing.T) {
	kills := 20
	if long() {
		kills = 200
	}
	r := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 1))
	folder, next := t.TempDir(), 0
	model := &naive{}
	atWork, answers, compactions := 0, 0, 0
	// The instants reach over several answers, however slow the machine is.
	within := 200 * time.Millisecond
	for k := range kills {
		if k%20 == 0 {
			folder, next, model = t.TempDir(), 0, &naive{}
		}
		c, lines := start(t, folder, fmt.Sprint(next))
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		if !lines.Scan() || lines.Text() != "ready" {
			t.Fatalf("the child said %q", lines.Text())
		}
		delay := time.Duration(r.Int64N(int64(within)))
		time.AfterFunc(delay, func() { c.Process.Kill() })
		taken, before := next-1, answers+compactions
		for lines.Scan() {
			fmt.Sscanf(lines.Text(), "took %d", &taken)
			if strings.HasPrefix(lines.Text(), "compacted") {
				compactions++
			}
		}
		c.Wait() // it was killed: that is no news
		for ; next <= taken; next++ {
			answers++
			all, at := killAnswer(next)
			for _, one := range all {
				model.put(one, at)
			}
		}
		if answers+compactions == before && k%4 == 3 {
			within = min(2*within, 4*time.Second)
		}
		s := mustOpen(t, "file://"+folder)
		report := mustVerify(t, s)
		if len(report.Strays) > 0 {
			atWork++
		}
		// The answer under way may have been taken, bundle by bundle.
		underWay, at := killAnswer(next)
		more := &naive{answers: append([]answer(nil), model.answers...)}
		for _, one := range underWay {
			more.put(one, at)
		}
		q := Query{}
		if next > 1 && k%2 == 1 { // now and then the view of an earlier moment
			q.AsOf = day(2026, 1, 1).Add(time.Duration(r.IntN(next)) * time.Minute)
		}
		for _, one := range underWay {
			got, err := s.Read(t.Context(), one.Key, q)
			if err != nil && !errors.Is(err, ErrNotFound) {
				t.Fatalf("kill %d: %v", k, err)
			}
			if !agrees(model, got, one.Key, q) && !agrees(more, got, one.Key, q) {
				t.Fatalf("kill %d after %s and %d answers: %s holds neither what it held nor what was being put", k, delay, next, one.Key)
			}
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if t.Failed() {
			t.FailNow()
		}
	}
	t.Logf("%d kills while %d answers were taken and %d compactions done; after %d of them files half done lay about; nothing lost", kills, answers, compactions, atWork)
	s := mustOpen(t, "file://"+folder)
	digest := mustDigest(t, s)
	if _, err := s.Compact(t.Context(), day(2027, 1, 1)); err != nil {
		t.Fatal(err)
	}
	if report := mustVerify(t, s); len(report.Strays) > 0 {
		t.Errorf("strays after compaction: %v", report.Strays)
	}
	if mustDigest(t, s) != digest {
		t.Error("compaction changed the digest")
	}
}

func agrees(n *naive, got ingest.Series, key ingest.Key, q Query) bool {
	at, want, retrieved := n.view(key, q)
	var have []reading
	for i := range got.Time {
		have = append(have, reading{got.Value[i], got.Qualifier[i], got.Approval[i]})
	}
	return cmp.Equal(at, got.Time) && cmp.Equal(want, have, nanEqual) && cmp.Equal(retrieved, got.Retrieved)
}

func TestASecondProcessIsRefusedWithOneSentenceOrWaits(t *testing.T) {
	folder := t.TempDir()
	c, lines := start(t, folder, "hold")
	in, err := c.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	if !lines.Scan() {
		t.Fatal("the child said nothing")
	}
	_, err = Open(t.Context(), "file://"+folder)
	if !errors.Is(err, ErrInUse) {
		t.Fatalf("second writer: %v", err)
	}
	if want := fmt.Sprintf("process %d", c.Process.Pid); !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), folder) {
		t.Errorf("%q does not name %s and the folder", err, want)
	}
	if _, err := Open(t.Context(), "file://"+folder, ReadOnly()); err != nil {
		t.Errorf("a reader beside the writer: %v", err)
	}
	time.AfterFunc(100*time.Millisecond, func() { in.Close() })
	s, err := Open(t.Context(), "file://"+folder, WaitForWriter(20*time.Second))
	if err != nil {
		t.Fatalf("waiting for the writer: %v", err)
	}
	s.Close()
	c.Wait()
}

func TestAReaderBesideAWriterNeverSeesHalfAChange(t *testing.T) {
	folder := t.TempDir()
	c, lines := start(t, folder, "0")
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	stop := time.AfterFunc(time.Minute, func() { c.Process.Kill() }) // a slow machine gets its time
	defer stop.Stop()
	lines.Scan()
	s := mustOpen(t, "file://"+folder, ReadOnly())
	taken := make(chan int, 1)
	var took atomic.Int64
	go func() {
		n := -1
		for lines.Scan() {
			fmt.Sscanf(lines.Text(), "took %d", &n)
			took.Store(int64(n + 1))
		}
		taken <- n
	}()
	reads := 0
	for {
		select {
		case n := <-taken:
			c.Wait()
			if n < 0 || reads < 20 {
				t.Errorf("%d answers taken and %d reads made in a minute", n+1, reads)
			}
			t.Logf("%d reads while %d answers were taken", reads, n+1)
			return
		default:
		}
		if took.Load() >= 3 && reads >= 60 {
			c.Process.Kill() // enough was seen
		}
		got, err := s.Read(t.Context(), wendTemperature, Query{})
		if errors.Is(err, ErrNotFound) && reads == 0 {
			continue
		}
		if err == nil {
			err = got.Check()
		}
		if err != nil {
			t.Fatal(err)
		}
		reads++
	}
}

func TestAReadOnlyStoreRefusesChangesAndMakesNoFolder(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "none")
	if _, err := Open(t.Context(), missing, ReadOnly()); err == nil || !strings.Contains(err.Error(), missing) {
		t.Errorf("a folder that is not there: %v", err)
	}
	if _, err := os.Stat(missing); !errors.Is(err, fs.ErrNotExist) {
		t.Error("the folder was made")
	}
	s := mustOpen(t, t.TempDir(), ReadOnly())
	if _, err := s.Put(t.Context(), regular(wendTemperature, day(2026, 1, 1), time.Hour, 1), day(2026, 1, 1)); err == nil {
		t.Error("a change was taken")
	}
	for _, url := range []string{"", "file://host/folder", "nosuch://bucket"} {
		if _, err := Open(t.Context(), url); err == nil {
			t.Errorf("%q was opened", url)
		}
	}
}

func TestASeriesThatBreaksTheRulesIsRefusedWhole(t *testing.T) {
	s := newMemStore()
	good := regular(wendTemperature, day(2026, 1, 1), time.Hour, 1, 2)
	backwards := regular(wendTemperature, day(2026, 1, 1), -time.Hour, 1, 2)
	nobody := good
	nobody.Site = ""
	endless := good
	endless.Site = strings.Repeat("x", 300)
	negative := good
	negative.Member = -1
	for name, bad := range map[string]ingest.Series{"backwards": backwards, "nameless": nobody, "too long a name": endless, "negative member": negative} {
		if _, err := s.PutAll(t.Context(), []ingest.Series{good, bad}, day(2026, 1, 2)); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if keys, err := s.Keys(t.Context()); err != nil || len(keys) != 0 {
		t.Errorf("keys %v, %v", keys, err)
	}
}

// damage does something bad to the bytes of a file.
func damage(r *rand.Rand, data []byte) []byte {
	out := append([]byte(nil), data...)
	switch r.IntN(6) {
	case 0:
		return out[:r.IntN(len(out))]
	case 1:
		return append(out, byte(r.IntN(256)))
	case 2:
		for range 1 + r.IntN(20) {
			out[r.IntN(len(out))] = byte(r.IntN(256))
		}
		if string(out) == string(data) {
			out[0] ^= 1
		}
		return out
	}
	out[r.IntN(len(out))] ^= 1 << r.IntN(8)
	return out
}

func TestADamagedFileIsNamedAndTheRestStaysReadable(t *testing.T) {
	folder := t.TempDir()
	s := mustOpen(t, "file://"+folder)
	for year := 2023; year <= 2025; year++ {
		mustPut(t, s, regular(wendTemperature, day(year, 5, 1), time.Hour, 1, 2, 3), day(2026, 1, 1))
		mustPut(t, s, regular(wendTemperature, day(year, 5, 1), time.Hour, 1, 2, 4), day(2026, 1, 2))
	}
	other := wendTemperature
	other.Site = "garrow-1"
	mustPut(t, s, regular(other, day(2024, 5, 1), time.Hour, 7, 8), day(2026, 1, 1))
	digest := mustDigest(t, s)
	s.Close()

	var files []string
	for _, sub := range []string{indexFolder, dataFolder, pastFolder} {
		filepath.WalkDir(filepath.Join(folder, sub, "csv", "wend-1"), func(path string, e fs.DirEntry, err error) error {
			if err == nil && !e.IsDir() {
				files = append(files, path)
			}
			return err
		})
	}
	if len(files) != 1+3+3 {
		t.Fatalf("files %v", files)
	}
	r := rand.New(rand.NewPCG(3, 9))
	for _, path := range files {
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for n := range 40 {
			if n == 0 {
				os.Remove(path)
			} else if err := os.WriteFile(path, damage(r, whole), 0o644); err != nil {
				t.Fatal(err)
			}
			s := mustOpen(t, "file://"+folder)
			_, err := s.Read(t.Context(), wendTemperature, Query{AsOf: day(2026, 1, 1)})
			d := (*DamagedError)(nil)
			gone := n == 0 && strings.HasSuffix(path, ".json") // then nobody knows that there was a series
			if !gone && (!errors.As(err, &d) || n > 0 && d.File != path) {
				t.Fatalf("reading with %s damaged: %v", path, err)
			}
			report, err := s.Verify(t.Context())
			if err != nil || !gone && (len(report.Damaged) != 1 || report.Damaged[0].File != path) {
				t.Fatalf("verifying with %s damaged: %+v, %v", path, report, err)
			}
			if got := mustRead(t, s, other, Query{}); !cmp.Equal(got.Value, []float64{7, 8}) {
				t.Fatalf("the other series: %v", got.Value)
			}
			if strings.Contains(path, ".parquet") && !strings.Contains(path, "2024.") {
				if got := mustRead(t, s, wendTemperature, Query{From: day(2024, 1, 1), To: day(2025, 1, 1)}); got.Len() != 3 {
					t.Fatalf("the year beside the damage: %v", got.Value)
				}
			}
			// A writer must not bury the damage under something new.
			if n == 1 {
				for year := 2023; year <= 2025; year++ {
					s.Put(t.Context(), regular(wendTemperature, day(year, 5, 1), time.Hour, 1, 2, 4), day(2026, 1, 2))
				}
				s.Compact(t.Context(), day(2027, 1, 1))
			}
			s.Close()
		}
		if err := os.WriteFile(path, whole, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s = mustOpen(t, "file://"+folder)
	if mustDigest(t, s) != digest {
		t.Error("with every file restored the digest is another one")
	}
}

// The hash is checked before a file is decoded; this is the second wall.
func TestDecodingDamagedBytesEndsInAnErrorOrRowsNeverInAPanic(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	files := someFiles(t)
	refused := 0
	for n := range 3000 {
		if _, err := decode(damage(r, files[n%len(files)]), allColumns, wanted{all: true}); err != nil {
			refused++
		}
	}
	t.Logf("%d of 3000 damaged files refused", refused)
}

// someFiles encodes small tables of every kind.
func someFiles(t testing.TB) [][]byte {
	t.Helper()
	var files [][]byte
	add := func(sh bundle, all ...ingest.Series) {
		group := make([]*ingest.Series, len(all))
		for i := range all {
			group[i] = &all[i]
		}
		rows := rowsOf(group, day(2026, 1, 1).UnixMicro())
		data, err := encode(sh, ingest.SiteInfo{Name: "Wend"}, &rows)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, data)
	}
	one := randomAnswer(rand.New(rand.NewPCG(4, 4)), wendTemperature, day(2025, 12, 20))
	add(bundleOf(one.Key), one)
	members := ensemble(day(2026, 1, 1), 30, 3, 1)
	add(bundleOf(members[0].Key), members...)
	return files
}

func FuzzDecode(f *testing.F) {
	for _, data := range someFiles(f) {
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		rows, err := decode(data, allColumns, wanted{all: true})
		if err == nil && (len(rows.value) != rows.len() || len(rows.retrieved) != rows.len()) {
			t.Errorf("%d times, %d values, %d retrievals", rows.len(), len(rows.value), len(rows.retrieved))
		}
		decode(data, colValue, wanted{member: 2})
	})
}

func FuzzDecodeIndex(f *testing.F) {
	x := index{Format: indexFormat, Generation: 3, Bundle: bundleOf(wendTemperature), Parts: []part{{Name: "a", Span: "2025", Rows: 2, Members: []run{{Rows: 2}}}}}
	data, err := encodeIndex(&x)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) {
		if x, err := decodeIndex(data); err == nil {
			if _, err := encodeIndex(x); err != nil {
				t.Error(err)
			}
		}
	})
}
