// Package seriestest gives tests an empty place on a real S3 server.
//
// A testing.TB enters; the URL of a part of a bucket that nobody else uses
// leaves. It must not know what is kept there.
package seriestest

import (
	"crypto/rand"
	"os"
	"strings"
	"testing"
)

// Env names the bucket that tests may use, with the keys in AWS_ACCESS_KEY_ID and
// AWS_SECRET_ACCESS_KEY.
const Env = "ECLOSE_S3"

// S3 is the URL of an empty part of the bucket. Without a server the test is
// skipped, saying so; where ECLOSE_CI=1 it fails instead.
func S3(t testing.TB) string {
	t.Helper()
	bucket := os.Getenv(Env)
	if bucket == "" {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("%s is not set, and in CI object storage may not be skipped; .ci/s3 starts a server and prints its URL", Env)
		}
		t.Skipf("%s is not set: skipping object storage; .ci/s3 starts a server and prints its URL", Env)
	}
	join := "?"
	if strings.Contains(bucket, "?") {
		join = "&"
	}
	return bucket + join + "prefix=test-" + strings.ToLower(rand.Text()) + "/"
}
