package client_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"example.org/eclose/ingest/client"
)

func TestPagesEnd(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { fmt.Fprint(w, r.URL.RawQuery) }))
	defer srv.Close()
	c, err := client.New(client.Options{UserAgent: "test", PerHost: map[string]float64{strings.TrimPrefix(srv.URL, "http://"): 1e9}})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		name, fault string
		link        func(n int) string
		rows        func(n int) int
		pages       int
	}{
		{"at a page without a link", "", func(n int) string { return []string{"", "?2", "?3", ""}[n] }, func(int) int { return 1 }, 3},
		{"at a page without rows", "", func(n int) string { return fmt.Sprintf("?%d", n+1) }, func(n int) int { return 4 - n }, 4},
		{"at a link that comes again", "", func(int) string { return "?1" }, func(int) int { return 1 }, 1},
		{"elsewhere", "not allowed", func(int) string { return "http://example.net/?2" }, func(int) int { return 1 }, 1},
		{"never", "the list does not end", func(n int) string { return fmt.Sprintf("?%d", n+1) }, func(int) int { return 1 }, 1000},
	} {
		n := 0
		err := c.Pages(t.Context(), client.Request{Feed: "wend", URL: srv.URL + "/?1"}, func(*client.Response) (string, int, error) {
			n++
			return x.link(n), x.rows(n), nil
		})
		if n != x.pages || (err != nil) != (x.fault != "") || err != nil && !strings.Contains(err.Error(), x.fault) {
			t.Errorf("ends %s: %d pages, %v", x.name, n, err)
		}
	}
}
