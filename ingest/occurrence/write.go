package occurrence

import (
	"archive/zip"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// column is a term with what a record says under it.
type column struct {
	term  string // with its namespace
	value func(Record) string
}

const (
	dwcTerms = "http://rs.tdwg.org/dwc/terms/"
	dcTerms  = "http://purl.org/dc/terms/"
)

func figure(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// eventColumns and occurrenceColumns are what is written; the first of each is
// the key that joins them.
var eventColumns = []column{
	{dwcTerms + "eventID", func(r Record) string { return r.Event }},
	{dwcTerms + "eventDate", Record.eventDate},
	{dwcTerms + "startDayOfYear", func(r Record) string { return dayOfYear(r.FirstDay) }},
	{dwcTerms + "endDayOfYear", func(r Record) string { return dayOfYear(r.LastDay) }},
	{dwcTerms + "eventRemarks", func(r Record) string { return r.Remarks }},
	{dwcTerms + "samplingProtocol", func(r Record) string { return r.Protocol }},
	{dwcTerms + "sampleSizeValue", func(r Record) string { return figure(r.EffortHours) }},
	{dwcTerms + "sampleSizeUnit", func(r Record) string {
		if math.IsNaN(r.EffortHours) {
			return ""
		}
		return "hour"
	}},
	{dwcTerms + "samplingEffort", func(r Record) string { return r.Effort }},
	{dwcTerms + "decimalLatitude", func(r Record) string { return figure(r.LatDeg) }},
	{dwcTerms + "decimalLongitude", func(r Record) string { return figure(r.LonDeg) }},
	{dwcTerms + "geodeticDatum", func(r Record) string {
		if math.IsNaN(r.LatDeg) {
			return ""
		}
		return "EPSG:4326"
	}},
	{dwcTerms + "coordinateUncertaintyInMeters", func(r Record) string { return figure(r.UncertaintyM) }},
	{dwcTerms + "minimumElevationInMeters", func(r Record) string { return figure(r.ElevationM) }},
	{dwcTerms + "higherGeography", func(r Record) string { return r.Region }},
	{dwcTerms + "waterBody", func(r Record) string { return r.Locality }},
	{dcTerms + "license", func(r Record) string { return r.Licence.URL() }},
	{dcTerms + "rightsHolder", func(r Record) string { return r.Holder }},
}

var occurrenceColumns = []column{
	{dwcTerms + "occurrenceID", func(r Record) string { return r.Key }},
	{dwcTerms + "basisOfRecord", func(r Record) string { return cmpOr(r.Basis, "HumanObservation") }},
	{dwcTerms + "scientificName", func(r Record) string { return r.Name }},
	{dwcTerms + "taxonRank", func(r Record) string { return r.Rank }},
	{dwcTerms + "order", func(r Record) string { return r.Order }},
	{dwcTerms + "vernacularName", func(r Record) string { return r.Vernacular }},
	{dwcTerms + "lifeStage", func(r Record) string { return string(r.Stage) }},
	{dwcTerms + "behavior", func(r Record) string { return r.Behaviour }},
	{dwcTerms + "occurrenceStatus", func(r Record) string {
		if r.Absent {
			return "absent"
		}
		return "present"
	}},
	{dwcTerms + "individualCount", func(r Record) string { return figure(r.Count) }},
	{dwcTerms + "organismQuantity", func(r Record) string { return r.Amount }},
	{dwcTerms + "organismQuantityType", func(r Record) string {
		if r.Amount == "" {
			return ""
		}
		return "none, few or many in the time watched"
	}},
	{dwcTerms + "associatedReferences", func(r Record) string { return r.References }},
}

func dayOfYear(d int) string {
	if d == 0 {
		return ""
	}
	return strconv.Itoa(d)
}

func (r Record) eventDate() string {
	if r.Start.IsZero() {
		return ""
	}
	s := r.Start.Format(time.DateOnly)
	if r.Days() > 1 {
		s += "/" + r.End.Format(time.DateOnly)
	}
	return s
}

// URL is the address that names a licence.
func (l Licence) URL() string {
	switch l {
	case CC0:
		return "https://creativecommons.org/publicdomain/zero/1.0/legalcode"
	case CCBY:
		return "https://creativecommons.org/licenses/by/4.0/legalcode"
	case CCBYNC:
		return "https://creativecommons.org/licenses/by-nc/4.0/legalcode"
	default: // all rights reserved has none
		return ""
	}
}

// WriteText writes records as one CSV table, the columns of the event first.
// ReadText reads the same.
func WriteText(w io.Writer, list []Record) error {
	all := append(append([]column{}, eventColumns...), occurrenceColumns...)
	c := csv.NewWriter(w)
	head := make([]string, len(all))
	for i, x := range all {
		head[i] = x.term[strings.LastIndex(x.term, "/")+1:]
	}
	if err := c.Write(head); err != nil {
		return fmt.Errorf("writing Darwin Core: %w", err)
	}
	for _, r := range list {
		line := make([]string, len(all))
		for i, x := range all {
			line[i] = x.value(r)
		}
		if err := c.Write(line); err != nil {
			return fmt.Errorf("writing Darwin Core: %w", err)
		}
	}
	c.Flush()
	if err := c.Error(); err != nil {
		return fmt.Errorf("writing Darwin Core: %w", err)
	}
	return nil
}

// About is what an archive says of itself.
type About struct {
	Title, Abstract, Creator string
	Licence                  Licence
	Written                  time.Time
}

// WriteArchive writes records as a Darwin Core archive of sampling events with
// their occurrences. Records without an event get one of their own.
func WriteArchive(w io.Writer, about About, list []Record) error {
	z := zip.NewWriter(w)
	put := func(name string, write func(io.Writer) error) error {
		f, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: about.Written})
		if err != nil {
			return err
		}
		return write(f)
	}
	list = append([]Record{}, list...)
	for i := range list {
		if list[i].Event == "" {
			list[i].Event = "event of " + list[i].Key
		}
	}
	err := put("meta.xml", func(w io.Writer) error { _, err := io.WriteString(w, metaOf()); return err })
	if err == nil {
		err = put("eml.xml", func(w io.Writer) error { _, err := io.WriteString(w, about.eml()); return err })
	}
	if err == nil {
		err = put("event.txt", func(w io.Writer) error {
			seen := map[string]bool{}
			return tabbed(w, eventColumns, nil, list, func(r Record) bool {
				defer func() { seen[r.Event] = true }()
				return !seen[r.Event]
			})
		})
	}
	if err == nil {
		err = put("occurrence.txt", func(w io.Writer) error {
			return tabbed(w, occurrenceColumns, &eventColumns[0], list, func(Record) bool { return true })
		})
	}
	if err == nil {
		err = z.Close()
	}
	if err != nil {
		return fmt.Errorf("writing a Darwin Core archive: %w", err)
	}
	return nil
}

// oneLine keeps tabs and line breaks out of a table that has no quotes.
var oneLine = strings.NewReplacer("\t", " ", "\n", " ", "\r", " ")

func tabbed(w io.Writer, columns []column, first *column, list []Record, want func(Record) bool) error {
	if first != nil {
		columns = append([]column{*first}, columns...)
	}
	cells := make([]string, len(columns))
	for i, c := range columns {
		cells[i] = c.term[strings.LastIndex(c.term, "/")+1:]
	}
	if _, err := fmt.Fprintln(w, strings.Join(cells, "\t")); err != nil {
		return err
	}
	for _, r := range list {
		if !want(r) {
			continue
		}
		for i, c := range columns {
			cells[i] = oneLine.Replace(c.value(r))
		}
		if _, err := fmt.Fprintln(w, strings.Join(cells, "\t")); err != nil {
			return err
		}
	}
	return nil
}

func metaOf() string {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>` + "\n" + `<archive xmlns="http://rs.tdwg.org/dwc/text/" metadata="eml.xml">` + "\n")
	file := func(kind, class, name, key string, columns []column, from int) {
		fmt.Fprintf(&b, `<%s encoding="UTF-8" fieldsTerminatedBy="\t" linesTerminatedBy="\n" fieldsEnclosedBy="" ignoreHeaderLines="1" rowType="%s%s">`+"\n", kind, dwcTerms, class)
		fmt.Fprintf(&b, "<files><location>%s</location></files>\n<%s index=\"0\"/>\n", name, key)
		for i, c := range columns {
			fmt.Fprintf(&b, "<field index=\"%d\" term=\"%s\"/>\n", i+from, c.term)
		}
		fmt.Fprintf(&b, "</%s>\n", kind)
	}
	file("core", "Event", "event.txt", "id", eventColumns, 0)
	file("extension", "Occurrence", "occurrence.txt", "coreid", occurrenceColumns, 1)
	b.WriteString("</archive>\n")
	return b.String()
}

// eml is the archive's description in the Ecological Metadata Language, as the
// GBIF profile asks for.
func (a About) eml() string {
	esc := func(s string) string {
		var b strings.Builder
		_ = xml.EscapeText(&b, []byte(s)) // a builder takes all
		return b.String()
	}
	return `<?xml version="1.0" encoding="UTF-8"?>
<eml:eml xmlns:eml="eml://ecoinformatics.org/eml-2.1.1" packageId="eclose" system="eclose" scope="system">
<dataset><title>` + esc(a.Title) + `</title>
<creator><organizationName>` + esc(a.Creator) + `</organizationName></creator>
<metadataProvider><organizationName>` + esc(a.Creator) + `</organizationName></metadataProvider>
<pubDate>` + a.Written.UTC().Format(time.DateOnly) + `</pubDate><language>eng</language>
<abstract><para>` + esc(a.Abstract) + `</para></abstract>
<intellectualRights><para>` + esc(string(a.Licence)+", "+a.Licence.URL()) + `</para></intellectualRights>
<contact><organizationName>` + esc(a.Creator) + `</organizationName></contact>
</dataset></eml:eml>
`
}
