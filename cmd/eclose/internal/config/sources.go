package config

import (
	"cmp"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"sort"
	"strings"
	"time"

	"github.com/BurntSushi/toml"
)

// Setting is one option in force, and where its value comes from.
type Setting struct {
	Key    string `json:"key"`
	Value  string `json:"value"`
	Source string `json:"source"` // "default", or the line of the file
}

var number = regexp.MustCompile(`\[\d+\]`)

// hidden stands for a value that must not be shown.
const hidden = "(hidden)"

// Values lists what a checked file says, in its order, then the defaults that it leaves
// in force. The table of a river or gauge is numbered, from 1.
func (c *Config) Values(text []byte, path string) ([]Setting, error) {
	var tree map[string]any
	if _, err := toml.Decode(string(text), &tree); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	lines := keyLines(string(text))
	var out []Setting
	said := map[string]bool{}
	var walk func(at string, v any)
	walk = func(at string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, x := range v {
				walk(strings.TrimPrefix(at+"."+k, "."), x)
			}
			return
		case []map[string]any:
			for i, x := range v {
				walk(fmt.Sprintf("%s[%d]", at, i+1), x)
			}
			return
		}
		said[at] = true
		source := path
		if n := lines[at]; n > 0 {
			source = fmt.Sprintf("%s, line %d", path, n)
		}
		out = append(out, Setting{at, Shown(at, fmt.Sprint(v)), source})
	}
	walk("", tree)
	sort.Slice(out, func(i, j int) bool {
		a, b := out[i].Key, out[j].Key
		return cmp.Or(lines[a]-lines[b], strings.Compare(a, b)) < 0
	})
	for _, o := range Options {
		if o.fill == nil || said[o.Key] {
			continue
		}
		v, ok := c.at(o.Key)
		if !ok {
			return nil, fmt.Errorf("the option table has %q, which the config lacks", o.Key)
		}
		source := "default"
		for old, now := range renamed {
			if now == o.Key && said[old] {
				source = fmt.Sprintf("%s, line %d (as %s)", path, lines[old], old)
			}
		}
		out = append(out, Setting{o.Key, Shown(o.Key, v), source})
	}
	return out, nil
}

// Shown is a value as it may be printed. Of a database's URL no more is shown than its
// kind; the path of a file with a secret is no secret.
func Shown(key, value string) string {
	if value == "" {
		return ""
	}
	key = number.ReplaceAllString(key, "")
	for _, o := range Options {
		if !o.Secret || !sameOption(o.Key, key) || strings.HasSuffix(o.Key, "-file") {
			continue
		}
		if kind, _, isURL := strings.Cut(value, "://"); o.Key == "database" {
			if isURL && kind != "file" {
				return kind + "://" + hidden
			}
			return value
		}
		return hidden
	}
	// A URL may carry a password or a key, wherever it stands.
	if _, rest, ok := strings.Cut(value, "://"); ok && strings.ContainsAny(rest, "@?") {
		kind, _, _ := strings.Cut(value, "://")
		return kind + "://" + hidden
	}
	return value
}

// sameOption says whether a key of a file is that of the table, where NAME stands for
// any name.
func sameOption(table, key string) bool {
	a, b := strings.Split(table, "."), strings.Split(key, ".")
	return slices.EqualFunc(a, b, func(x, y string) bool { return x == y || x == "NAME" })
}

// at is the value in force of a key whose tables stand once.
func (c *Config) at(key string) (string, bool) {
	v := reflect.ValueOf(c).Elem()
	for part := range strings.SplitSeq(key, ".") {
		found := false
		for f, x := range v.Fields() {
			if f.Tag.Get("toml") == part {
				v, found = x, true
				break
			}
		}
		if !found {
			return "", false
		}
	}
	if s, ok := reflect.TypeAssert[Span](v); ok {
		return time.Duration(s).String(), true
	}
	return fmt.Sprint(v.Interface()), true
}

// keyLines finds the line on which each key of a TOML file is set: the library keeps no
// positions. A key that it does not find, such as one of an inline table, has none.
func keyLines(text string) map[string]int {
	out, tables := map[string]int{}, map[string]int{}
	prefix, open, quotes := "", 0, ""
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		switch {
		case quotes != "": // inside a text of several lines
			if strings.Contains(line, quotes) {
				quotes = ""
			}
			continue
		case open > 0: // inside a list of several lines
			open += strings.Count(line, "[") - strings.Count(line, "]")
			continue
		case line == "" || line[0] == '#':
			continue
		case strings.HasPrefix(line, "["):
			name, _, _ := strings.Cut(strings.TrimLeft(line, "["), "]")
			name = strings.ReplaceAll(strings.TrimSpace(name), `"`, "")
			prefix = numbered(name, strings.HasPrefix(line, "[["), tables) + "."
			continue
		}
		key, value, ok := strings.Cut(line, "=")
		if !ok {
			continue
		}
		out[prefix+strings.Trim(strings.TrimSpace(key), `"`)] = i + 1
		value = strings.TrimSpace(value)
		if strings.HasPrefix(value, "[") {
			open = strings.Count(value, "[") - strings.Count(value, "]")
		}
		for _, q := range []string{`"""`, "'''"} {
			if rest, long := strings.CutPrefix(value, q); long && !strings.Contains(rest, q) {
				quotes = q
			}
		}
	}
	return out
}

// numbered is the name of a table with the numbers of the lists that it lies in.
func numbered(name string, list bool, tables map[string]int) string {
	at := ""
	parts := strings.Split(name, ".")
	for i, p := range parts {
		at = strings.TrimPrefix(at+"."+p, ".")
		if i == len(parts)-1 && list {
			tables[at]++
		}
		if n := tables[at]; n > 0 {
			at = fmt.Sprintf("%s[%d]", at, n)
		}
	}
	return at
}
