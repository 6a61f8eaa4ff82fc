package response_test

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/response"
)

const feed response.Feed = "wend"

// What arrives instead of data is told apart in each format, and only what was
// cut on its way is worth asking for again.
func TestAResponseThatIsNotDataSaysWhatItIs(t *testing.T) {
	readJSON := func(s string) error {
		var v struct{ A []int }
		return feed.JSON(strings.NewReader(s), &v)
	}
	readCSV := func(s string) error {
		br, _, err := feed.Begin(strings.NewReader(s))
		if err != nil {
			return err
		}
		table, err := feed.Table(br)
		for more := err == nil; more; {
			more, err = table.Next()
		}
		return err
	}
	readXML := func(s string) error {
		return feed.XML(strings.NewReader(s), func(d *xml.Decoder) error {
			for depth := 0; ; {
				token, err := d.Token()
				if err != nil {
					return err
				}
				switch token.(type) {
				case xml.StartElement:
					depth++
				case xml.EndElement:
					if depth--; depth == 0 {
						return nil
					}
				}
			}
		})
	}
	for _, c := range []struct {
		name  string
		read  func(string) error
		body  string
		want  string // "": no fault
		again bool
	}{
		{"JSON behind a byte-order mark", readJSON, "\xef\xbb\xbf \r\n{\"A\":[1]}", "", false},
		{"CSV behind a byte-order mark", readCSV, "\xef\xbb\xbfa,b\n1,2\n", "", false},
		{"XML behind a byte-order mark", readXML, "\xef\xbb\xbf<?xml version='1.0'?><a/>", "", false},
		{"nothing for JSON", readJSON, "", "is empty", false},
		{"blanks for CSV", readCSV, " \r\n\t", "is empty", false},
		{"nothing for XML", readXML, "\xef\xbb\xbf", "is empty", false},
		{"a web page for JSON", readJSON, "<!doctype html>", "is a web page or XML, not data", false},
		{"a web page for CSV", readCSV, "<html>", "is a web page or XML, not data", false},
		{"a web page for XML", readXML, "<!DOCTYPE HTML><html>", "is a web page, not data", false},
		{"JSON that stops", readJSON, `{"A":[1,`, "ends early", true},
		{"XML that stops", readXML, "<a><b>", "ends early", true},
		{"a row that stops", readCSV, "a,b\n1,2\n3", "line 3: has 1 columns; the header has 2", true},
		{"quotes that stay open", readCSV, "a,b\n1,2\n\"3,4\n", "line 3: the response ends early", true},
		{"a quote in the middle", readCSV, "a,b\n1,x\"2\n3,4\n", "is not CSV", false},
		{"garbled JSON", readJSON, `{"A":#}`, "byte 5: is not the expected JSON", false},
		{"another shape of JSON", readJSON, `{"A":"x"}`, "is not the expected JSON", false},
		{"garbled XML", readXML, "<a><<", "line 1: is not XML", false},
		{"JSON for XML", readXML, "{}", "is not XML", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			err := c.read(c.body)
			if c.want == "" {
				if err != nil {
					t.Fatal(err)
				}
				return
			}
			e, ok := errors.AsType[*ingest.Error](err)
			if !ok || e.Feed != "wend" || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v, want a fault of wend with %q", err, c.want)
			}
			if e.Retryable != c.again {
				t.Errorf("retryable is %v: %v", e.Retryable, err)
			}
		})
	}
}

func TestAFaultOfTheFeedStaysAsItIs(t *testing.T) {
	own := feed.Unexpected("row 7", "has no time", nil)
	if got := feed.JSONFault(own); !errors.Is(got, own) {
		t.Errorf("JSON made %v of it", got)
	}
	if got := feed.XML(strings.NewReader("<a/>"), func(*xml.Decoder) error { return own }); !errors.Is(got, own) {
		t.Errorf("XML made %v of it", got)
	}
	if want := "wend: row 7: has no time; report it with the saved response"; own.Error() != want {
		t.Errorf("it reads %q, want %q", own, want)
	}
}

func TestObjectAndArrayWalkOneLevel(t *testing.T) {
	dec := jsontext.NewDecoder(strings.NewReader(`{"a":[1,2],"b":{"c":3},"a":[4]}`), response.Lax)
	var got []string
	err := response.Object(dec, func(name string) error {
		if name != "a" {
			return dec.SkipValue()
		}
		return response.Array(dec, func() error {
			v, err := dec.ReadValue()
			got = append(got, string(v))
			return err
		})
	})
	if err != nil || strings.Join(got, " ") != "1 2 4" {
		t.Errorf("got %v, %v", got, err)
	}
	if _, err := dec.ReadToken(); !errors.Is(err, io.EOF) {
		t.Errorf("something was left behind: %v", err)
	}
	for _, body := range []string{`[]`, `null`, `1`} {
		if err := response.Object(jsontext.NewDecoder(strings.NewReader(body)), nil); err == nil {
			t.Errorf("%s passed for an object", body)
		}
	}
}

func TestNumbersAndTheWordsInTheirPlace(t *testing.T) {
	for _, c := range []struct {
		in   string
		want float64
		word string
		bad  bool
	}{
		{" 4.5 ", 4.5, "", false}, {"-1e3", -1000, "", false}, {"", math.NaN(), "", false}, {"NaN", math.NaN(), "", false},
		{"Ice", math.NaN(), "Ice", false}, {"***", math.NaN(), "***", false}, {"12abc", 0, "", true}, {"+Inf", 0, "", true}, {"1e999", 0, "", true},
		{strings.Repeat("x", 21), 0, "", true},
	} {
		v, word, err := response.OrWord(c.in)
		if (err != nil) != c.bad || word != c.word || !c.bad && v != c.want && !(math.IsNaN(v) && math.IsNaN(c.want)) {
			t.Errorf("%q: %v, %q, %v", c.in, v, word, err)
		}
	}
}
