package db

import (
	"database/sql/driver"
	"encoding/json"
	"math"
	"reflect"
	"testing"
	"time"
)

// What goes through another process is what went in, to the last bit.
func TestValuesCrossTheWireUnchanged(t *testing.T) {
	for _, v := range []driver.Value{nil, int64(math.MinInt64), int64(math.MaxInt64), 0.1, math.Inf(-1), math.Copysign(0, -1), math.MaxFloat64, "", "Ä <&> \x00 \xff", []byte{}, []byte{0, 0xff, 'x'},
		time.Date(2026, 12, 1, 10, 0, 0, 123456789, time.UTC), time.Time{}} {
		w, err := toWire(v)
		if err != nil {
			t.Fatal(err)
		}
		data, err := json.Marshal([]wireValue{w})
		if err != nil {
			t.Fatalf("%v: %v", v, err)
		}
		var back []wireValue
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatalf("%v: %s: %v", v, data, err)
		}
		if got := back[0].value(); !reflect.DeepEqual(got, v) || got == 0.0 && math.Signbit(got.(float64)) != math.Signbit(v.(float64)) {
			t.Errorf("%#v came as %#v by %s", v, got, data)
		}
	}
	w, _ := toWire(math.NaN()) // a number has a form
	if x, ok := w.value().(float64); !ok || !math.IsNaN(x) {
		t.Errorf("%v", x)
	}
}
