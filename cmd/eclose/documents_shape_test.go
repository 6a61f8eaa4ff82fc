package main

import (
	"net/http"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"

	"example.org/eclose/cmd/eclose/internal/config"
)

const docs = "cmd/eclose/docs/"

// kindOf is which of the four kinds a document is; empty for the README and the home
// page.
func kindOf(path string) string {
	name, in := strings.CutPrefix(path, docs)
	kind, _, deep := strings.Cut(name, "/")
	switch {
	case !in || name == "README.md":
		return ""
	case !deep:
		return strings.TrimSuffix(kind, ".md")
	}
	return kind
}

// A lesson and a guide are followed; a reference and an explanation are read. The home
// page names each once, and nothing else is there.
func TestTheFourKindsAreKeptApart(t *testing.T) {
	home, err := os.ReadFile(filepath.Join("docs", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range documents(t) {
		followed := slices.ContainsFunc(d.blocks, func(b block) bool { return b.kind != "text" })
		switch kind := kindOf(d.path); kind {
		case "tutorial", "how-to":
			if !followed {
				t.Errorf("%s has nothing to do in it", d.path)
			}
		case "reference", "explanation":
			if followed {
				t.Errorf("%s is a kind of document to read, and has commands in it", d.path)
			}
		case "":
			continue
		default:
			t.Errorf("%s is of no known kind", d.path)
		}
		if n := strings.Count(string(home), "]("+strings.TrimPrefix(d.path, docs)+")"); n != 1 {
			t.Errorf("the home page names %s %d times", d.path, n)
		}
	}
}

var (
	linkIn     = regexp.MustCompile(`\]\(([^)\s]+)\)`)
	headingIn  = regexp.MustCompile(`(?m)^#+ (.+)$`)
	notInSlugs = regexp.MustCompile(`[^\p{L}\p{N} _-]`)
)

// anchors are the names of a text's headings in addresses.
func anchors(text string) (out []string) {
	for _, m := range headingIn.FindAllStringSubmatch(text, -1) {
		out = append(out, strings.ReplaceAll(notInSlugs.ReplaceAllString(strings.ToLower(m[1]), ""), " ", "-"))
	}
	return out
}

// Every link within the repository leads to a file, and to a heading where it names
// one.
func TestLinksOfDocumentsLeadSomewhere(t *testing.T) {
	all := documents(t)
	for _, name := range []string{"DEVELOPERS.md", "CHANGELOG.md"} {
		b, err := os.ReadFile(filepath.Join("..", "..", name))
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, document{path: name, text: string(b)})
	}
	n := 0
	for _, d := range all {
		for _, m := range linkIn.FindAllStringSubmatch(d.text, -1) {
			if strings.Contains(m[1], "://") {
				continue
			}
			n++
			file, anchor, _ := strings.Cut(m[1], "#")
			target := path.Join(path.Dir(d.path), file)
			if file == "" {
				target = d.path
			}
			b, err := os.ReadFile(filepath.Join("..", "..", filepath.FromSlash(target)))
			if err != nil {
				t.Errorf("%s: the link %s leads nowhere", d.path, m[1])
			} else if anchor != "" && !slices.Contains(anchors(string(b)), anchor) {
				t.Errorf("%s: the link %s names a heading that %s lacks", d.path, m[1], target)
			}
		}
	}
	if n < 100 {
		t.Errorf("only %d links were found", n)
	}
}

var inlineCommand = regexp.MustCompile("`(eclose [a-z][^`]*)`")

// A command within a sentence, too, is one that there is, with flags that it has.
func TestCommandsWithinSentencesExist(t *testing.T) {
	tree, n := parserForTests(t).Model, 0
	for _, d := range documents(t) {
		for _, m := range inlineCommand.FindAllStringSubmatch(d.text, -1) {
			n++
			if wrong := wrongIn(tree.Node, strings.Fields(m[1])[1:]); wrong != "" {
				t.Errorf("%s: `%s`: %s", d.path, m[1], wrong)
			}
		}
	}
	if n < 40 {
		t.Errorf("only %d commands were found", n)
	}
}

// wrongIn is what is wrong with the words of a command; empty: nothing that the tree
// could tell.
func wrongIn(at *kong.Node, words []string) string {
	for i, w := range words {
		if name, isFlag := strings.CutPrefix(w, "--"); isFlag {
			name, _, _ = strings.Cut(name, "=")
			if !slices.ContainsFunc(slices.Concat(at.AllFlags(false)...), func(f *kong.Flag) bool { return f.Name == name }) {
				return "it has no flag --" + name
			}
			continue
		}
		k := slices.IndexFunc(at.Children, func(c *kong.Node) bool { return c.Name == w })
		switch {
		case k >= 0:
			at = at.Children[k]
		case len(at.Children) > 0 && !strings.HasPrefix(words[max(i-1, 0)], "--") && w != "COMMAND":
			return "there is no command " + w
		}
	}
	return ""
}

func TestACommandMisspeltWithinASentenceIsFound(t *testing.T) {
	tree := parserForTests(t).Model
	for words, wrong := range map[string]bool{"jobs list --state discarded": false, "forecast wend": false, "forcast": true, "jobs lst": true, "forecast --detail": true} {
		if got := wrongIn(tree.Node, strings.Fields(words)); (got != "") != wrong {
			t.Errorf("%s: %q", words, got)
		}
	}
}

func TestTheReferenceListsEveryFeed(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("docs", "reference", "feeds.md"))
	if err != nil {
		t.Fatal(err)
	}
	rows := regexp.MustCompile("(?m)^\\| `([a-z0-9-]+)` \\|").FindAllStringSubmatch(string(b), -1)
	var listed []string
	for _, m := range rows {
		listed = append(listed, m[1])
	}
	names := config.FeedNames()
	slices.Sort(listed)
	slices.Sort(names)
	if !slices.Equal(listed, names) {
		t.Errorf("the reference lists the feeds %v, the config knows %v", listed, names)
	}
}

// answersEverywhere asks a running server for every address of the reference.
func (f *follower) answersEverywhere() {
	f.t.Helper()
	b, err := os.ReadFile(filepath.Join("docs", "reference", "addresses.md"))
	if err != nil {
		f.t.Fatal(err)
	}
	list := regexp.MustCompile("`(/[^`]+)`").FindAllStringSubmatch(string(b), -1)
	if len(list) < 10 {
		f.t.Errorf("only %d addresses were found", len(list))
	}
	for _, m := range list {
		at := strings.NewReplacer("RIVER", "wend", "river=R", "river=wend", "group=G", "group=salmonfly").Replace(m[1])
		res, err := http.Get("http://" + f.addr + at)
		if err != nil {
			f.t.Fatal(err)
		}
		if res.Body.Close(); res.StatusCode != http.StatusOK {
			f.t.Errorf("%s answers %s", at, res.Status)
		}
	}
}
