package config

import (
	"reflect"
	"slices"
	"strings"
	"testing"
)

// keysOf lists the keys that a config file may hold, from the types that it
// is read into.
func keysOf(t reflect.Type, prefix string) (keys []string) {
	for f := range t.Fields() {
		tag := f.Tag.Get("toml")
		if f.Anonymous {
			keys = append(keys, keysOf(f.Type, prefix)...)
			continue
		}
		if tag == "-" || tag == "" {
			continue
		}
		key, in := prefix+tag, f.Type
		if in.Kind() == reflect.Map {
			key += ".NAME"
		}
		for in.Kind() == reflect.Pointer || in.Kind() == reflect.Slice || in.Kind() == reflect.Map {
			in = in.Elem()
		}
		if in == reflect.TypeFor[CSVLayout]() { // the same keys again
			keys = append(keys, key)
			continue
		}
		if in.Kind() == reflect.Struct {
			keys = append(keys, keysOf(in, key+".")...)
		} else {
			keys = append(keys, key)
		}
	}
	return keys
}

func TestTheOptionTableHoldsEveryKeyAndNoOther(t *testing.T) {
	var table []string
	for _, o := range Options {
		// What only one feed knows stands under its name.
		table = append(table, strings.Replace(o.Key, "feeds.csv.", "feeds.NAME.", 1))
	}
	keys := keysOf(reflect.TypeFor[Config](), "")
	for _, k := range keys {
		if _, old := renamed[k]; !old && !slices.Contains(table, k) {
			t.Errorf("the config may hold %q; the option table does not say so", k)
		}
	}
	for _, k := range table {
		if _, old := renamed[k]; old || !slices.Contains(keys, k) {
			t.Errorf("the option table has %q, which no config may hold", k)
		}
	}
	for _, o := range Options {
		if secret := strings.HasSuffix(o.Key, "key-file") || strings.HasSuffix(o.Key, "secret-file") || strings.HasSuffix(o.Key, "password-file") || o.Key == "database" || o.Key == "health.ping-url"; secret != o.Secret {
			t.Errorf("%s: secret is %v", o.Key, o.Secret)
		}
	}
}
