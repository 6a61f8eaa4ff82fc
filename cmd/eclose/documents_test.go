package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// document is a file of documents as its reader has it: blocks in order.
type document struct {
	path   string // from the root, with slashes
	text   string
	blocks []block
}

// block is what stands between two fences.
type block struct {
	line    int    // of its first line
	kind    string // language of the fence
	put     string // what is done with it: "file=NAME" writes it, "add=NAME" adds it to a file
	text    string
	follows bool // only white space parts it from the block before
}

// documents are the README, and all that lies in the folder of documents.
func documents(t *testing.T) (out []document) {
	t.Helper()
	root := filepath.Join("..", "..")
	paths := []string{"README.md"}
	err := filepath.WalkDir("docs", func(path string, d fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".md") {
			paths = append(paths, "cmd/eclose/"+filepath.ToSlash(path))
		}
		return err
	})
	if err != nil || len(paths) < 20 {
		t.Fatalf("%d documents, %v", len(paths), err)
	}
	for _, p := range paths {
		b, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(p)))
		if err != nil {
			t.Fatal(err)
		}
		d := document{path: p, text: string(b)}
		if d.blocks, err = blocksOf(d.text); err != nil {
			t.Fatalf("%s: %v", p, err)
		}
		out = append(out, d)
	}
	return out
}

// blocksOf finds the fenced blocks. Indented ones are refused: a reader of Markdown
// cannot tell what language they are in, nor can this test.
func blocksOf(text string) (out []block, err error) {
	var in *block
	between := true
	for i, line := range strings.Split(text, "\n") {
		fence, isFence := strings.CutPrefix(line, "```")
		switch {
		case isFence && in == nil:
			kind, put, _ := strings.Cut(fence, " ")
			in = &block{line: i + 2, kind: kind, put: put, follows: between && len(out) > 0}
		case isFence:
			out, in, between = append(out, *in), nil, true
		case in != nil:
			in.text += line + "\n"
		case strings.HasPrefix(line, "    ") && strings.TrimSpace(line) != "":
			return nil, fmt.Errorf("line %d: an indented block; write a fence with a language", i+1)
		case strings.TrimSpace(line) != "":
			between = false
		}
	}
	if in != nil {
		return nil, fmt.Errorf("line %d: a fence without an end", in.line-1)
	}
	return out, nil
}

// command is a line of a block of commands.
type command struct {
	line int
	text string
	code int // what it must exit with
}

var exitNote = regexp.MustCompile(`# exit code (\d)\b`)

// commands are the lines of a block; a line that ends with \ goes on in the next one.
func (b block) commands() (out []command) {
	c := command{line: b.line}
	for i, line := range strings.Split(b.text, "\n") {
		if c.text == "" {
			c.line = b.line + i
		}
		if head, more := strings.CutSuffix(line, `\`); more {
			c.text += strings.TrimRight(head, " ") + " "
			continue
		}
		c.text = strings.TrimSpace(c.text + strings.TrimSpace(line))
		if m := exitNote.FindStringSubmatch(c.text); m != nil {
			c.code = int(m[1][0] - '0')
		}
		if c.text != "" && !strings.HasPrefix(c.text, "#") {
			out = append(out, c)
		}
		c = command{}
	}
	return out
}

// bare is the command without its remark.
func (c command) bare() string {
	text, _, _ := strings.Cut(c.text, " #")
	return strings.TrimSpace(text)
}

// unrun are the commands and blocks that no test can run, and why. Each must occur.
var unrun = map[string]string{
	"go run ./cmd/eclose demo": "needs the clone and compiles it; TestDocuments runs eclose demo, and the tests of the demo look at what it prints",
	"go test ./...":            "is the suite that this test belongs to",
	"go install ./cmd/eclose":  "needs the clone, and writes to the folder of the reader's programs",
	"eclose init":              "asks its questions at a terminal; TestInitSetsUpARiver answers them",

	"sudo apt install ./eclose_*_amd64.deb":                           "needs root and a package; .ci/package/check installs one on a copy of the machine",
	"sudo cp /etc/eclose/eclose.toml.example /etc/eclose/eclose.toml": "needs root; .ci/package/check does it",
	"sudo systemctl enable --now eclose":                              "needs systemd; .ci/package/check looks at the unit",
	`database = "postgres://eclose@db.example.org/eclose"`:            "needs the reader's database and bucket; the tests of many machines use our own",
	"*/15 * * * * cd /srv/eclose && eclose ingest --config eclose.toml --quiet; eclose site --config eclose.toml --out public --quiet && rsync -a --delete public/ web:hatches/": "is a line of a crontab, and needs the reader's web space; eclose ingest and eclose site are run by themselves",
}

// unrunnable is why a command is not run; empty: it is.
func unrunnable(c command) string { return unrun[c.bare()] }

// What cannot be run is in the documents; otherwise the reason is about nothing.
func TestEveryCommandThatIsNotRunOccurs(t *testing.T) {
	found := map[string]bool{}
	for _, d := range documents(t) {
		for _, b := range d.blocks {
			if b.kind == "sh" {
				for _, c := range b.commands() {
					found[c.bare()] = true
				}
			} else if first, _, _ := strings.Cut(b.text, "\n"); unrun[first] != "" {
				found[first] = true
			}
		}
	}
	for c, why := range unrun {
		if !found[c] {
			t.Errorf("%q is listed as not run (%s), and no document has it", c, why)
		}
	}
}

// Each document is followed from its first command to its last, in a folder of its
// own, and what it shows is what comes.
func TestDocuments(t *testing.T) {
	if testing.Short() {
		t.Skip("it issues outlooks")
	}
	if _, err := exec.LookPath("bash"); err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatal(err)
		}
		t.Skip("bash is missing")
	}
	t.Parallel()
	for _, d := range documents(t) {
		if !slices.ContainsFunc(d.blocks, func(b block) bool { return b.kind != "text" }) {
			continue
		}
		t.Run(strings.TrimSuffix(filepath.Base(d.path), ".md"), func(t *testing.T) {
			t.Parallel()
			f := newFollower(t, d)
			defer f.stop()
			for _, b := range d.blocks {
				f.follow(b)
				if t.Failed() {
					return // what comes after stands on it
				}
			}
			if strings.HasSuffix(d.path, "/club.md") { // its server runs
				f.answersEverywhere()
			}
		})
	}
}

// matches reports whether an output is what a text shows: ... stands for anything.
func matches(shown, came string) bool {
	tidy := func(s string) string {
		lines := strings.Split(strings.Trim(s, "\r\n"), "\n")
		for i := range lines {
			lines[i] = strings.TrimRight(lines[i], " \r")
		}
		return strings.Join(lines, "\n")
	}
	parts := strings.Split(tidy(shown), "...")
	for i := range parts {
		parts[i] = regexp.QuoteMeta(parts[i])
	}
	return regexp.MustCompile(`(?s)^` + strings.Join(parts, ".*?") + `$`).MatchString(tidy(came))
}

func TestMatchesTakesDotsForAnythingAndNothingElse(t *testing.T) {
	for _, x := range []struct {
		shown, came string
		want        bool
	}{
		{"a\nb", "a\nb\n", true}, {"a\n...\nc", "a\nb\nb\nc", true}, {"a ... c", "a b c", true},
		{"a", "b", false}, {"a", "a\nb", false}, {"a\n...", "b\na", false}, {"a.c", "abc", false},
	} {
		if matches(x.shown, x.came) != x.want {
			t.Errorf("%q shown, %q came: want %v", x.shown, x.came, x.want)
		}
	}
}

// exitCode is that of a command that ran.
func exitCode(err error) (int, error) {
	var failed *exec.ExitError
	switch {
	case err == nil:
		return 0, nil
	case errors.As(err, &failed):
		return failed.ExitCode(), nil
	}
	return 0, err
}
