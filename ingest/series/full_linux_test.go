package series

import (
	"errors"
	"strings"
	"syscall"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

func TestAFullDiskIsSaidClearlyAndLeavesTheStoreIntact(t *testing.T) {
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=120k"); err != nil {
		skip(t, "mounting a small disk is not permitted here: "+err.Error())
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, 0); err != nil {
			t.Errorf("unmounting %s: %v", folder, err)
		}
	})
	s, err := Open(t.Context(), "file://"+folder)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	stored := 0
	for year := 2000; ; year++ {
		if year == 2100 {
			t.Fatal("a hundred years fitted on a small disk")
		}
		one := quarterHours(ingest.WaterTemperature, year, 1)
		before := mustDigest(t, s)
		_, err := s.Put(t.Context(), one, day(2026, 1, 1))
		if err == nil {
			stored += one.Len()
			continue
		}
		if !errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), folder) {
			t.Errorf("the disk is full, but it says: %v", err)
		}
		t.Logf("%d readings, then: %v", stored, err)
		if mustDigest(t, s) != before {
			t.Error("the failed change left something")
		}
		report := mustVerify(t, s)
		if len(report.Strays) > 0 {
			t.Errorf("left behind: %v", report.Strays)
		}
		if got := mustRead(t, s, one.Key, Query{}); got.Len() != stored {
			t.Errorf("%d readings, %d were stored", got.Len(), stored)
		}
		// With room again the same call does what it could not.
		if err := syscall.Mount("tmpfs", folder, "tmpfs", syscall.MS_REMOUNT, "size=4m"); err != nil {
			t.Fatal(err)
		}
		if c, err := s.Put(t.Context(), one, day(2026, 1, 1)); err != nil || c.Added != one.Len() {
			t.Errorf("with room again: %+v, %v", c, err)
		}
		mustVerify(t, s)
		return
	}
}

// Whatever the write that fails first, the store is as it was before.
func TestADiskThatFillsAtAnyWriteLosesNothing(t *testing.T) {
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=4m,nr_inodes=36"); err != nil {
		skip(t, "mounting a small disk is not permitted here: "+err.Error())
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, 0); err != nil {
			t.Errorf("unmounting %s: %v", folder, err)
		}
	})
	s, err := Open(t.Context(), "file://"+folder)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	failures := 0
	for n := range 45 {
		one := regular(wendTemperature, day(1960+n, 3, 1), time.Hour, 1, 2, 3)
		before := mustDigest(t, s)
		if _, err := s.Put(t.Context(), one, day(2026, 1, 1)); err != nil {
			failures++
			if mustDigest(t, s) != before {
				t.Fatalf("change %d failed but left something: %v", n, err)
			}
		}
	}
	if failures == 0 {
		t.Error("no write failed on a disk without room for more files")
	}
	mustVerify(t, s)
}
