package jobs_test

import (
	"flag"
	"fmt"
	"os"
	"testing"
)

// Most tests here wait: for the queue's next look, for a leader's relief.
func TestMain(m *testing.M) {
	if err := flag.Set("test.parallel", "8"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(m.Run())
}
