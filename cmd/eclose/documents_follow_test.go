package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/health"
)

// shownAddr is where a server of the documents listens. Here it listens elsewhere:
// tests run side by side.
const shownAddr = "127.0.0.1:8437"

// follower does what a document says, as somebody at a shell would.
type follower struct {
	t      *testing.T
	d      document
	dir    string
	addr   string
	env    []string
	cwd    string
	came   string // output of the last block
	server *exec.Cmd
	ended  chan error    // of the server
	log    *bytes.Buffer // of the server
}

// newFollower makes the folder. How-to guides are for people who have rivers: theirs
// are those of the demo. Everything else begins with nothing.
func newFollower(t *testing.T, d document) *follower {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	f := &follower{t: t, d: d, dir: t.TempDir(), addr: ln.Addr().String()}
	if err := ln.Close(); err != nil {
		t.Fatal(err)
	}
	f.cwd = f.dir
	if strings.Contains(d.path, "/how-to/") {
		if err := copyIngested(f.dir); err != nil {
			t.Fatal(err)
		}
		f.write("eclose.toml", tarnFellsConfig(3), false)
	}
	proxy, ca := agencies(t)
	f.env = append(os.Environ(), "HOME="+f.dir, "ECLOSE_CONFIG=", "ECLOSE_TEST_BEGAN="+time.Now().Format(time.RFC3339Nano),
		"HTTPS_PROXY="+proxy, "SSL_CERT_FILE="+ca, "LC_ALL=C.UTF-8")
	return f
}

func (f *follower) write(name, text string, add bool) {
	f.t.Helper()
	path := filepath.Join(f.cwd, name)
	if add {
		old, err := os.ReadFile(path)
		if err != nil {
			f.t.Fatal(err)
		}
		text = string(old) + "\n" + text
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		f.t.Fatal(err)
	}
}

// here turns the address of the documents into that of this test, there does the
// reverse.
func (f *follower) here(s string) string { return strings.ReplaceAll(s, shownAddr, f.addr) }

func (f *follower) there(s string) string {
	return strings.NewReplacer(f.addr, shownAddr, f.dir, "/home/you").Replace(s)
}

func (f *follower) follow(b block) {
	f.t.Helper()
	at := fmt.Sprintf("%s:%d", f.d.path, b.line)
	first, _, _ := strings.Cut(b.text, "\n")
	how, name, _ := strings.Cut(b.put, "=")
	switch {
	case unrun[first] != "" && b.kind != "sh":
	case how == "file" || how == "add":
		if !strings.Contains(f.d.text, "`"+name+"`") {
			f.t.Errorf("%s: the text does not say that this belongs in `%s`", at, name)
		}
		f.write(name, f.here(b.text), how == "add")
	case b.put != "":
		f.t.Errorf("%s: %q is neither file=NAME nor add=NAME", at, b.put)
	case b.kind == "sh":
		f.came = ""
		for _, c := range b.commands() {
			f.do(c)
		}
	case b.kind == "text":
		if !b.follows {
			f.t.Errorf("%s: an output without commands before it", at)
		}
		if !matches(b.text, f.there(f.came)) {
			f.t.Errorf("%s: the text shows\n%s\nand this came:\n%s", at, b.text, f.there(f.came))
		}
	case readers[b.kind] != nil:
		f.came = readers[b.kind](f, b)
	default:
		f.t.Errorf("%s: this test does not know what to do with %q", at, b.kind)
	}
}

// do runs one command in the shell's state after the last one: its folder and its
// exported variables.
func (f *follower) do(c command) {
	f.t.Helper()
	at := fmt.Sprintf("%s:%d: %s", f.d.path, c.line, c.text)
	if unrunnable(c) != "" {
		return
	}
	if strings.HasPrefix(c.text, "sudo ") {
		f.t.Fatalf("%s: no test becomes root; list it among those that are not run", at)
	}
	if regexp.MustCompile(`^eclose serve\b`).MatchString(c.text) {
		f.serve(c)
		return
	}
	state := filepath.Join(f.t.TempDir(), "state")
	cmd := exec.CommandContext(f.t.Context(), "bash", "-o", "pipefail", "-c", f.here(c.text)+"\ncode=$?; { pwd; env -0; } > '"+state+"'; exit $code")
	cmd.Dir, cmd.Env = f.cwd, f.env
	out, err := cmd.CombinedOutput()
	f.came += string(out)
	f.t.Logf("%s\n%s", at, f.there(string(out)))
	code, err := exitCode(err)
	if err != nil || code != c.code {
		f.t.Fatalf("%s: exit code %d, want %d, %v:\n%s", at, code, c.code, err, f.there(string(out)))
	}
	b, err := os.ReadFile(state)
	if err != nil {
		f.t.Fatalf("%s: %v", at, err)
	}
	folder, env, _ := strings.Cut(string(b), "\n")
	f.cwd, f.env = folder, strings.Split(strings.TrimSuffix(env, "\x00"), "\x00")
}

// serve starts a server, which runs until another is started or the document ends, and
// waits until it has issued all its forecasts.
func (f *follower) serve(c command) {
	f.t.Helper()
	f.stop()
	f.log = &bytes.Buffer{}
	f.server = exec.Command("bash", "-c", "exec "+c.bare()+" --addr "+f.addr) //nolint:gosec // it is what the document says
	f.server.Dir, f.server.Env, f.server.Stdout, f.server.Stderr = f.cwd, f.env, f.log, f.log
	if err := f.server.Start(); err != nil {
		f.t.Fatal(err)
	}
	ended := make(chan error, 1)
	f.ended = ended
	go func(s *exec.Cmd) { ended <- s.Wait() }(f.server)
	for end := time.Now().Add(4 * time.Minute); !f.ready(); {
		select {
		case err := <-ended:
			f.server = nil
			f.t.Fatalf("%s:%d: the server ended with %v:\n%s", f.d.path, c.line, err, f.log)
		case <-time.After(200 * time.Millisecond):
		}
		if time.Now().After(end) {
			f.t.Fatalf("%s:%d: no forecasts after four minutes", f.d.path, c.line)
		}
	}
}

// ready reports whether the server has a forecast of every river.
func (f *follower) ready() bool {
	res, err := http.Get("http://" + f.addr + "/health")
	if err != nil {
		return false
	}
	defer res.Body.Close()
	var r health.Report
	if err := json.NewDecoder(res.Body).Decode(&r); err != nil || len(r.Rivers) == 0 {
		return false
	}
	for _, x := range r.Rivers {
		if x.Issued.IsZero() {
			return false
		}
	}
	return true
}

// stop ends the server as Ctrl-C does.
func (f *follower) stop() {
	if f.server == nil {
		return
	}
	s := f.server
	f.server = nil
	if err := s.Process.Signal(syscall.SIGINT); err != nil {
		f.t.Error(err)
	}
	if err := <-f.ended; err != nil {
		f.t.Errorf("%s: the server ended with %v:\n%s", f.d.path, err, f.log)
	}
}
