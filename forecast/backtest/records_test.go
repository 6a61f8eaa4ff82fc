package backtest

import (
	"strings"
	"testing"
)

func TestReadRecords(t *testing.T) {
	for name, c := range map[string]struct {
		in      string
		rows    int
		words   bool
		wantErr string
	}{
		"columns in any order, others beside them": {in: "taxon,note,count,date\nOlive,x,3,2001-05-02\n", rows: 1},
		"a byte order mark and capitals":           {in: "\ufeffDate,Taxon,Count\n2001-05-02,Olive,3\n", rows: 1},
		"sightings in words":                       {in: "date,taxon,count\n2001-05-02,Olive,many\n2001-05-03,Olive,none\n", rows: 2, words: true},
		"an empty count is not a zero":             {in: "date,taxon,count\n2001-05-02,Olive,\n2001-05-03,Olive,0\n", rows: 1},
		"hours of zero say nothing":                {in: "date,taxon,count,hours\n2001-05-02,Olive,2,0\n2001-05-03,Olive,0,2\n", rows: 1},
		"no taxon column":                          {in: "date,count\n", wantErr: `records.csv:1: column "taxon" is missing`},
		"a date that is none":                      {in: "date,taxon,count\n02.05.2001,Olive,3\n", wantErr: `records.csv:2: "02.05.2001" is not a date: write YYYY-MM-DD`},
		"a negative count":                         {in: "date,taxon,count\n2001-05-02,Olive,-3\n", wantErr: `records.csv:2: count "-3": use a number`},
		"a short row":                              {in: "date,taxon,count\n2001-05-02,Olive\n", wantErr: "records.csv:2: 2 columns"},
		"an empty file":                            {in: "", wantErr: "records.csv: the file is empty"},
		"a header alone":                           {in: "date,taxon,count\n", wantErr: "no records after the header"},
		"no taxon":                                 {in: "date,taxon,count\n2001-05-02,,3\n", wantErr: "records.csv:2: no taxon"},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := ReadRecords("records.csv", strings.NewReader(c.in))
			if c.wantErr != "" {
				if err == nil || !strings.Contains(err.Error(), c.wantErr) {
					t.Fatalf("error %v, want %q", err, c.wantErr)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Rows) != c.rows || r.Words != c.words {
				t.Errorf("%d rows, words %v", len(r.Rows), r.Words)
			}
		})
	}
}

func TestReadWater(t *testing.T) {
	for name, c := range map[string]struct {
		in      string
		annual  bool
		wantErr string
	}{
		"daily":                          {in: "date,temp_c\n2001-01-01,4\n2001-01-02,4.5\n"},
		"yearly by year":                 {in: "year,temp_c\n2001,7.1\n2002,7.3\n", annual: true},
		"a yearly mean put on every day": {in: "date,temp_c\n2001-01-01,7.1\n2001-01-02,7.1\n2002-01-01,7.3\n", annual: true},
		"nothing below the header":       {in: "date,temp_c\n2001-01-01,\n", wantErr: "w.csv: no temperature"},
		"semicolons":                     {in: "date;temp_c\n2001-01-01;4\n", wantErr: "separated by commas"},
		"no date":                        {in: "temp_c\n4\n", wantErr: `column "date" is missing`},
		"boiling":                        {in: "date,temp_c\n2001-01-01,99\n", wantErr: `w.csv:2: temp_c "99": use a number from -10 to 60`},
	} {
		t.Run(name, func(t *testing.T) {
			w, err := ReadWater("w.csv", strings.NewReader(c.in))
			if c.wantErr != "" {
				if err == nil || !strings.Contains(err.Error(), c.wantErr) {
					t.Fatalf("error %v, want %q", err, c.wantErr)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if w.AnnualOnly != c.annual {
				t.Errorf("annual only: %v", w.AnnualOnly)
			}
			if w.AnnualOnly && w.Of("", 2001) != nil {
				t.Error("an annual mean was handed out within its year")
			}
		})
	}
}

func TestADayWithSeveralTemperaturesTakesTheirMean(t *testing.T) {
	w, err := ReadWater("w.csv", strings.NewReader("date,temp_c\n2001-01-01,4\n2001-01-02,7\n2001-01-01 12:00,5\n2001-01-02,7\n2001-01-01T23:00Z,9\n"))
	if err != nil {
		t.Fatal(err)
	}
	if y := w.Of("", 2001); y[0] != 6 || y[1] != 7 || w.Repeated != 1 {
		t.Errorf("%v, %d repeated", y[:2], w.Repeated)
	}
}

func FuzzReadRecords(f *testing.F) {
	f.Add("date,taxon,count,hours,site\n2001-05-02,Olive,3,2,a\n2001-12-31,Olive,many,2,a\n")
	f.Add("taxon,count,date\n\"O,x\",few,2001-05-02\n")
	f.Fuzz(func(t *testing.T, in string) {
		r, err := ReadRecords("f", strings.NewReader(in))
		if err != nil {
			return
		}
		for _, s := range r.Build(1) {
			for _, x := range s.Seasons {
				if x.Q10 > x.Median || x.Median > x.Q90 || x.Median < -200 || x.Median > 600 {
					t.Fatalf("season %d: %d, %d, %d", x.Year, x.Q10, x.Median, x.Q90)
				}
			}
		}
	})
}

func FuzzReadWater(f *testing.F) {
	f.Add("date,temp_c,site\n2001-05-02,3,a\n2001-12-31,4,a\n")
	f.Add("year,temp_c\n2001,3\n")
	f.Fuzz(func(t *testing.T, in string) {
		if w, err := ReadWater("f", strings.NewReader(in)); err == nil {
			w.Of("", 2001)
		}
	})
}
