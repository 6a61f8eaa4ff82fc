package forecast

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"strconv"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestEveryRemarkHasItsWords(t *testing.T) {
	f, err := parser.ParseFile(token.NewFileSet(), "remark.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]RemarkCode{}
	for _, d := range f.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.CONST {
			continue
		}
		for _, s := range g.Specs {
			code, err := strconv.Unquote(s.(*ast.ValueSpec).Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			r := Remark{Code: RemarkCode(code), Days: -5, Of: 365, Seasons: 6, Date: 20000, River: "Garrow",
				Water: &Departure{MeanC: 1, Days: 60}, By: &Influence{River: "Garrow", Group: "salmonfly", Sightings: 1, Days: -2},
				Records: &RecordsWindow{Records: 50, Years: 4}, Season: &RecordsSeason{Days: 2, Records: 9, Groups: 2}}
			words := r.String()
			if words == "" {
				t.Errorf("%s has no words", code)
			}
			if seen[words] != "" {
				t.Errorf("%s and %s say the same", code, seen[words])
			}
			seen[words] = r.Code
			b, err := json.Marshal(r)
			if err != nil {
				t.Fatal(err)
			}
			var back Remark
			if err := json.Unmarshal(b, &back); err != nil || cmp.Diff(r, back) != "" {
				t.Errorf("%s: %v %s", b, err, cmp.Diff(r, back))
			}
		}
	}
	if len(seen) < 14 {
		t.Errorf("only %d codes were found", len(seen))
	}
}

func TestARemarkOfAnOlderFileIsItsText(t *testing.T) {
	var o Outlook
	if err := json.Unmarshal([]byte(`{"notes":["The latest reading is 3 days old."],"stages":[{"reasons":["There all year."]}]}`), &o); err != nil {
		t.Fatal(err)
	}
	if a, b := o.Notes[0].String(), o.Stages[0].Reasons[0].String(); a != "The latest reading is 3 days old." || b != "There all year." {
		t.Errorf("%q, %q", a, b)
	}
}
