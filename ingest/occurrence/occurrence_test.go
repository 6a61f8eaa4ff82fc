package occurrence

import (
	"archive/zip"
	"bytes"
	"math"
	"strings"
	"testing"
	"time"
)

func TestDatesAreDaysIntervalsOrNothing(t *testing.T) {
	for _, c := range []struct{ in, first, last string }{
		{"2025-04-30", "2025-04-30", "2025-04-30"},
		{"2025-04-30T01:11", "2025-04-30", "2025-04-30"},
		{"2025-04-30T23:30:00-07:00", "2025-04-30", "2025-04-30"}, // the day there, not in Greenwich
		{"2025-04-30 23:30", "2025-04-30", "2025-04-30"},
		{"2025-01-01T08:30Z/2025-01-01T10:52Z", "2025-01-01", "2025-01-01"},
		{"2011-03-01/2011-03-10", "2011-03-01", "2011-03-10"},
		{"2011-03-01/10", "2011-03-01", "2011-03-10"},
		{"2011-03-28/04-03", "2011-03-28", "2011-04-03"},
		{"2011-03", "2011-03-01", "2011-03-31"},
		{"2011", "2011-01-01", "2011-12-31"},
		{"2010/2011", "2010-01-01", "2011-12-31"},
		{"2011-03-10/2011-03-01", "", ""},
		{"2011-02-30", "", ""},
		{"10.03.2011", "", ""},
		{"March", "", ""},
		{"", "", ""},
		{"2011-03-10T", "", ""},
		{"0011-03-10", "", ""},
	} {
		first, last, err := ParseDates(c.in)
		if c.first == "" {
			if err == nil {
				t.Errorf("%q: read as %s to %s", c.in, first.Format(time.DateOnly), last.Format(time.DateOnly))
			}
			continue
		}
		if err != nil || first.Format(time.DateOnly) != c.first || last.Format(time.DateOnly) != c.last {
			t.Errorf("%q: %v to %v, %v", c.in, first, last, err)
		}
	}
}

func TestOnlyThreeLicencesAreOpen(t *testing.T) {
	for in, want := range map[string]Licence{
		"http://creativecommons.org/licenses/by/4.0/legalcode":        CCBY,
		"http://creativecommons.org/licenses/by-nc/4.0/legalcode":     CCBYNC,
		"https://creativecommons.org/publicdomain/zero/1.0/legalcode": CC0,
		"cc-by": CCBY, "cc-by-nc": CCBYNC, "cc0": CC0, "CC_BY_4_0": CCBY, "CC0_1_0": CC0, "CC_BY_NC_4_0": CCBYNC, "CC BY 4.0": CCBY,
		"cc-by-sa": AllRights, "cc-by-nd": AllRights, "cc-by-nc-sa": AllRights, "": AllRights, "UNSPECIFIED": AllRights,
		"https://creativecommons.org/licenses/by-nc-nd/4.0/": AllRights, "by the author": AllRights, "© all rights reserved": AllRights,
	} {
		if got := ParseLicence(in); got != want {
			t.Errorf("%q: %s, want %s", in, got, want)
		}
	}
}

func TestANymphIsNeverAnAdult(t *testing.T) {
	for in, want := range map[string]LifeStage{
		"Adult": Adult, "imago": Adult, "2 adults": Adult, "Subimago": Subimago, "subimago (dun)": Subimago, "teneral": Teneral, "Exuviae": Exuvia,
		"nymph": Immature, "Larva, adult": Immature, "pupa": Immature, "late instar": Immature, "": StageUnknown, "female": StageUnknown, "nonadult": StageUnknown,
	} {
		if got := ParseStage(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

func TestOneRecordHasOneKeyFromBothServices(t *testing.T) {
	a := KeyOf("https://www.inaturalist.org/observations/283854559", "5828786387", "", "")
	b := KeyOf("http://www.inaturalist.org/observations/283854559", "", "", "")
	if a != b || a != "inaturalist:283854559" {
		t.Errorf("%q, %q", a, b)
	}
	for want, got := range map[string]string{
		"gbif:7":    KeyOf("TwMoth1", "7", "d", ""),
		"d#TwMoth1": KeyOf("TwMoth1", "", "d", ""),
		"urn:x:1":   KeyOf("urn:x:1", "7", "", ""),
		"":          KeyOf("", "", "d", ""),
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestNamesLoseAuthorAndSubgenus(t *testing.T) {
	for in, want := range map[string]string{
		"Ephemera danica Müller, 1764": "Ephemera danica", "Baetis (Rhodobaetis) rhodani (Pictet, 1843)": "Baetis rhodani",
		"Cosmophila Boisduval, 1833": "Cosmophila", "Drunella grandis ingens": "Drunella grandis ingens", "": "", "Baetis": "Baetis",
	} {
		if got := PlainName(in, ""); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

const table1 = "occurrenceID,eventDate,scientificName,lifeStage,decimalLatitude,decimalLongitude,license,samplingEffort,occurrenceStatus,individualCount\r\n" +
	"a:1,2020-06-01,\"Ephemera danica Müller, 1764\",adult,54.1,-2.2,cc0,2 hours,present,3\r\n" +
	"a:2,2020-06-02/2020-06-05,Ephemera danica,nymph,54.1,-2.2,,,,0\r\n"

func TestATableIsReadWithCommasOrTabs(t *testing.T) {
	for name, text := range map[string]string{
		"commas": "\ufeff" + table1,
		"tabs":   strings.ReplaceAll(strings.ReplaceAll(strings.ReplaceAll(table1, "\"Ephemera danica Müller, 1764\"", "Ephemera danica Müller; 1764"), ",", "\t"), ";", ","),
	} {
		var got []Record
		if err := ReadText(strings.NewReader(text), func(r Record) error { got = append(got, r); return nil }); err != nil || len(got) != 2 {
			t.Fatalf("%s: %d, %v", name, len(got), err)
		}
		a, b := got[0], got[1]
		if a.Key != "a:1" || a.Name != "Ephemera danica" || a.Stage != Adult || a.Licence != CC0 || a.EffortHours != 2 || a.Absent || a.Count != 3 || a.Days() != 1 {
			t.Errorf("%s: %+v", name, a)
		}
		if b.Stage != Immature || !b.Absent || b.Days() != 4 || b.Licence != AllRights || !math.IsNaN(b.EffortHours) {
			t.Errorf("%s: %+v", name, b)
		}
	}
	if err := ReadText(strings.NewReader("name,when\nx,y\n"), func(Record) error { return nil }); err == nil || !strings.Contains(err.Error(), "scientificName") {
		t.Errorf("a foreign table: %v", err)
	}
}

// archive builds a Darwin Core archive of events and their occurrences.
func archive(t testing.TB, files map[string]string) *bytes.Reader {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, text := range files {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return bytes.NewReader(b.Bytes())
}

var eventArchive = map[string]string{
	"meta.xml": `<?xml version="1.0"?><archive xmlns="http://rs.tdwg.org/dwc/text/">
<core encoding="UTF-8" fieldsTerminatedBy="\t" linesTerminatedBy="\n" fieldsEnclosedBy="" ignoreHeaderLines="1" rowType="http://rs.tdwg.org/dwc/terms/Event">
<files><location>event.txt</location></files><id index="0"/>
<field index="1" term="http://rs.tdwg.org/dwc/terms/eventDate"/><field index="2" term="http://rs.tdwg.org/dwc/terms/decimalLatitude"/>
<field index="3" term="http://rs.tdwg.org/dwc/terms/decimalLongitude"/><field index="4" term="http://rs.tdwg.org/dwc/terms/sampleSizeValue"/>
<field default="minutes" term="http://rs.tdwg.org/dwc/terms/sampleSizeUnit"/><field default="CC0" term="http://purl.org/dc/terms/license"/></core>
<extension encoding="UTF-8" fieldsTerminatedBy="\t" ignoreHeaderLines="1" rowType="http://rs.tdwg.org/dwc/terms/Occurrence">
<files><location>occurrence.txt</location></files><coreid index="0"/>
<field index="1" term="http://rs.tdwg.org/dwc/terms/occurrenceID"/><field index="2" term="http://rs.tdwg.org/dwc/terms/scientificName"/>
<field index="3" term="http://rs.tdwg.org/dwc/terms/individualCount"/><field default="adult" term="http://rs.tdwg.org/dwc/terms/lifeStage"/></extension></archive>`,
	"event.txt":      "id\twhen\tlat\tlon\tn\ne1\t2020-06-01\t54\t-2\t90\ne2\t2020-06-02\t54\t-2\t30\n",
	"occurrence.txt": "id\tocc\tname\tn\ne1\to:1\tBaetis rhodani\t5\ne2\to:2\tBaetis rhodani\t0\n",
}

func TestAnOccurrenceOfAnArchiveKnowsItsEvent(t *testing.T) {
	var got []Record
	r := archive(t, eventArchive)
	if err := ReadArchive(r, r.Size(), func(x Record) error { got = append(got, x); return nil }); err != nil || len(got) != 2 {
		t.Fatalf("%d, %v", len(got), err)
	}
	if a := got[0]; a.Event != "e1" || a.EffortHours != 1.5 || a.Licence != CC0 || a.Stage != Adult || a.LatDeg != 54 || a.Start.Format(time.DateOnly) != "2020-06-01" {
		t.Errorf("%+v", a)
	}
	if !got[1].Absent {
		t.Errorf("a count of 0 is an absence: %+v", got[1])
	}
}

func TestADamagedArchiveIsAFault(t *testing.T) {
	without := map[string]string{"meta.xml": eventArchive["meta.xml"], "event.txt": eventArchive["event.txt"]}
	r := archive(t, without)
	if err := ReadArchive(r, r.Size(), func(Record) error { return nil }); err == nil || !strings.Contains(err.Error(), "occurrence.txt") {
		t.Errorf("a file that is missing: %v", err)
	}
	r = archive(t, map[string]string{"a.csv": table1})
	n := 0
	if err := ReadArchive(r, r.Size(), func(Record) error { n++; return nil }); err != nil || n != 2 {
		t.Errorf("a download without meta.xml: %d, %v", n, err)
	}
	junk := strings.NewReader("PK\x03\x04 no archive")
	if err := ReadArchive(junk, junk.Size(), func(Record) error { return nil }); err == nil {
		t.Error("junk was read")
	}
}

func FuzzReadText(f *testing.F) {
	f.Add(table1)
	f.Add("scientificName\teventDate\nA b\t2020\n")
	f.Add("\"scientificName\n")
	f.Fuzz(func(t *testing.T, s string) {
		_ = ReadText(strings.NewReader(s), func(r Record) error {
			if !r.Start.IsZero() && r.Days() < 1 {
				t.Errorf("%+v has %d days", r, r.Days())
			}
			return nil
		})
	})
}

func FuzzReadArchive(f *testing.F) {
	r := archive(f, eventArchive)
	b := make([]byte, r.Size())
	if _, err := r.Read(b); err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Fuzz(func(_ *testing.T, b []byte) {
		_ = ReadArchive(bytes.NewReader(b), int64(len(b)), func(Record) error { return nil })
	})
}

func FuzzMeta(f *testing.F) {
	f.Add(eventArchive["meta.xml"], eventArchive["occurrence.txt"])
	f.Fuzz(func(t *testing.T, meta, text string) {
		r := archive(t, map[string]string{"meta.xml": meta, "occurrence.txt": text, "event.txt": text})
		_ = ReadArchive(r, r.Size(), func(Record) error { return nil })
	})
}

func FuzzParseDates(f *testing.F) {
	f.Add("2011-03-28/04-03")
	f.Add("2025-01-01T08:30Z/2025-01-01T10:52Z")
	f.Fuzz(func(t *testing.T, s string) {
		if a, b, err := ParseDates(s); err == nil && (b.Before(a) || a.IsZero()) {
			t.Errorf("%q: %v to %v", s, a, b)
		}
	})
}
