package response

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
)

// Number reads a decimal number; NaN if s is blank. Infinity is an error.
func Number(s string) (float64, error) {
	if s = strings.TrimSpace(s); s == "" {
		return math.NaN(), nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a number", ingest.Clip(s))
	}
	return v, nil
}

// JSONNumber reads a number; NaN if v is null or left out. Anything else is an
// error.
func JSONNumber(v jsontext.Value) (float64, error) {
	switch v.Kind() {
	case 'n', 0:
		return math.NaN(), nil
	case '0':
		f, err := strconv.ParseFloat(string(v), 64)
		if err != nil {
			return 0, fmt.Errorf("%s is out of range", ingest.Clip(string(v)))
		}
		return f, nil
	}
	return 0, fmt.Errorf("%s is neither a number nor null", ingest.Clip(string(v)))
}

// Word reads a string, or a number as it is written; "" for anything else.
func Word(v jsontext.Value) string {
	var s string
	switch v.Kind() {
	case '0':
		return string(v)
	case '"':
		if Unmarshal(v, &s) != nil {
			return ""
		}
	}
	return s
}

// OrWord reads a number, or a short word that an agency writes in its place,
// such as Ice; the value is then NaN.
func OrWord(s string) (v float64, word string, err error) {
	v, err = Number(s)
	s = strings.TrimSpace(s)
	if err != nil && !strings.ContainsAny(s, "0123456789.") && len(s) <= 20 && !strings.EqualFold(strings.TrimLeft(s, "+-"), "inf") {
		return math.NaN(), strings.Clone(s), nil
	}
	return v, "", err
}

// Deliver yields the part of each series that req asks for, with at as the
// time of its retrieval.
func Deliver(list []ingest.Series, req ingest.Request, at time.Time, yield func(ingest.Series) error) error {
	for _, s := range list {
		if len(req.Variables) > 0 && !slices.Contains(req.Variables, s.Variable) {
			continue
		}
		if s = s.Between(req.From, req.To); s.Len() == 0 {
			continue
		}
		s.Retrieved = slices.Repeat([]int64{at.UnixMicro()}, s.Len())
		if err := yield(s); err != nil {
			return err
		}
	}
	return nil
}
