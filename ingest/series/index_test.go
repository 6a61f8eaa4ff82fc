package series

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
)

func TestAnIndexOfTheFirstFormatIsRead(t *testing.T) {
	want := index{Format: indexFormat, Generation: 3, Bundle: bundleOf(wendTemperature), Parts: []part{{Name: "a", Span: "2025", Rows: 2, Members: []run{{Rows: 2}}}}}
	now, err := json.Marshal(&want)
	if err != nil {
		t.Fatal(err)
	}
	old := strings.NewReplacer(`"format":2`, `"format":1`, `"bundle":`, `"shelf":`).Replace(string(now))
	later := strings.Replace(string(now), `"format":2`, `"format":3`, 1)
	seal := func(body string) []byte {
		b, err := json.Marshal(sealed{hashOf([]byte(body)), json.RawMessage(body)})
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	if got, err := decodeIndex(seal(old)); err != nil || !reflect.DeepEqual(*got, want) {
		t.Errorf("%+v, %v; want %+v", got, err, want)
	}
	if _, err := decodeIndex(seal(later)); err == nil || !strings.Contains(err.Error(), "format 3") {
		t.Errorf("a later format: %v", err)
	}
}
