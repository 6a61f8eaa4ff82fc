package series

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"example.org/eclose/ingest/series/seriestest"
)

// The whole store stands on this: of all that create one name at a moment, one
// may, and its bytes stay.
func TestOnS3OneOfManyCreatesAName(t *testing.T) {
	url := seriestest.S3(t)
	var shared []bucket
	for range 8 {
		b, err := openBucket(t.Context(), url)
		if err != nil {
			t.Fatal(err)
		}
		defer b.close()
		shared = append(shared, b)
	}
	for round := range 12 {
		name := fmt.Sprintf("index/a/%09d.json", round)
		var won atomic.Int64
		var winner atomic.Value
		var all sync.WaitGroup
		for i, b := range shared {
			all.Go(func() {
				text := fmt.Sprintf("writer %d of round %d", i, round)
				switch err := b.create(t.Context(), name, []byte(text)); {
				case err == nil:
					won.Add(1)
					winner.Store(text)
				case !errors.Is(err, fs.ErrExist):
					t.Errorf("a loser is told: %v", err)
				}
			})
		}
		all.Wait()
		got, err := shared[0].read(t.Context(), name, 100)
		if err != nil || won.Load() != 1 || string(got) != winner.Load() {
			t.Fatalf("round %d: %d created it, it says %q, %v", round, won.Load(), got, err)
		}
	}
}

func TestABucketThatCannotBeOpenedIsSaidAtOnce(t *testing.T) {
	url := seriestest.S3(t)
	_, err := Open(t.Context(), strings.Replace(url, "s3://", "s3://no-such-", 1))
	if err == nil || !strings.Contains(err.Error(), "use an existing bucket") {
		t.Errorf("no such bucket: %v", err)
	}
	t.Setenv("AWS_SECRET_ACCESS_KEY", "wrong")
	_, err = Open(t.Context(), url)
	if err == nil || !strings.Contains(err.Error(), "AWS_SECRET_ACCESS_KEY") || strings.Contains(err.Error(), "wrong") {
		t.Errorf("a wrong key: %v", err)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ln.Close() // now nobody listens there
	if _, err := OpenFiles(t.Context(), "s3://eclose?region=us-east-1&use_path_style=true&endpoint=http://"+ln.Addr().String()); err == nil {
		t.Error("no server is no fault")
	}
}

func TestKeysDoNotBelongInTheURL(t *testing.T) {
	_, err := Open(t.Context(), "s3://key:secret@bucket")
	if err == nil || strings.Contains(err.Error(), "secret@") || !strings.Contains(err.Error(), "AWS_ACCESS_KEY_ID") {
		t.Errorf("%v", err)
	}
}

func TestAPlaceOnS3IsNamedWithoutItsOptions(t *testing.T) {
	s := &Store{url: "s3://bucket?region=x&endpoint=http://y"}
	if got := s.locate("index/a.json"); got != "s3://bucket/index/a.json" {
		t.Error(got)
	}
}
