package config

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"github.com/BurntSushi/toml"

	"example.org/eclose/model/insects"
)

// read reads the file of a config; a fault says what cures it.
func read(path string) ([]byte, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("reading the config file: %s: no such file; check the path, or write one with eclose init", path)
	}
	if err != nil {
		return nil, fmt.Errorf("reading the config file: %w", err)
	}
	return b, nil
}

// tomlWords puts the fault of a TOML library in words for somebody who does not know TOML.
func tomlWords(message string) string {
	if message == "strings cannot contain newlines" {
		return "the closing quote is missing"
	}
	return message
}

// unknownOption says which option an unknown one was meant to be.
func unknownOption(key, line string) string {
	parts := strings.Split(key, ".")
	name := ""
	if parts[0] == "feeds" && len(parts) > 2 {
		name, parts[1] = parts[1], "NAME"
	}
	var keys []string
	for _, o := range Options {
		keys = append(keys, o.Key)
	}
	hint := ""
	if near := insects.Closest(strings.Join(parts, "."), keys, 1); len(near) > 0 {
		hint = fmt.Sprintf("did you mean %q? ", strings.Replace(near[0], "NAME", name, 1))
	}
	return fmt.Sprintf("unknown option %q%s; %sdocs/reference/options.md lists all", key, line, hint)
}

// atLine finds the line of an unknown key: the TOML library reports only its
// name.
func atLine(b []byte, k toml.Key) string {
	last := k[len(k)-1]
	for i, line := range strings.Split(string(b), "\n") {
		word, _, ok := strings.Cut(strings.TrimSpace(line), "=")
		if ok && strings.Trim(strings.TrimSpace(word), `"`) == last {
			return fmt.Sprintf(" (line %d)", i+1)
		}
	}
	return ""
}
