package main

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

var formMark = regexp.MustCompile(`name="mark" value="([^"]*)"`)

// visitor is somebody who fills in the form for email alerts.
type visitor struct {
	root   string
	client http.Client
}

func newVisitor(t *testing.T, root string) *visitor {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &visitor{root: root, client: http.Client{Jar: jar}}
}

// signUp asks for alerts about the Wend to go to an address and returns the
// page that answers. header holds pairs of names and values.
func (v *visitor) signUp(t *testing.T, address string, header ...string) (code int, body string) {
	t.Helper()
	return v.signUpFor(t, "wend", address, header...)
}

// signUpFor is signUp for another river.
func (v *visitor) signUpFor(t *testing.T, river, address string, header ...string) (code int, body string) {
	t.Helper()
	_, form := v.do(t, http.MethodGet, "/subscribe", nil, header...)
	mark := formMark.FindStringSubmatch(form)
	if mark == nil {
		t.Fatalf("the form has no mark:\n%s", form)
	}
	return v.do(t, http.MethodPost, "/subscribe", url.Values{
		"address": {address}, "river": {river}, "cadence": {"now"}, "threshold": {"0.5"}, "units": {"metric"}, "cautions": {"on"}, "mark": {mark[1]},
	}, header...)
}

func (v *visitor) do(t *testing.T, method, path string, form url.Values, header ...string) (code int, body string) {
	t.Helper()
	req, err := http.NewRequest(method, v.root+path, strings.NewReader(form.Encode()))
	if err != nil {
		t.Fatal(err)
	}
	if form != nil {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	res, err := v.client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, string(b)
}
