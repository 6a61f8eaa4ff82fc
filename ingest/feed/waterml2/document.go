package waterml2

import (
	"encoding/xml"
	"strings"
)

// The elements of a document that matter here. Prefixes are each writer's own,
// so elements are matched by namespace and name; a path across two namespaces
// by name alone, which is what encoding/xml offers.

type observation struct {
	Parameters []namedValue `xml:"parameter>NamedValue"`
	Procedure  struct {
		Href    string `xml:"http://www.w3.org/1999/xlink href,attr"`
		Process struct {
			Identifier string       `xml:"http://www.opengis.net/gml/3.2 identifier"`
			Parameters []namedValue `xml:"parameter>NamedValue"`
		} `xml:"http://www.opengis.net/waterml/2.0 ObservationProcess"`
	} `xml:"http://www.opengis.net/om/2.0 procedure"`
	Property link `xml:"http://www.opengis.net/om/2.0 observedProperty"`
	Feature  struct {
		link
		Point struct {
			ID         string `xml:"http://www.opengis.net/gml/3.2 id,attr"`
			Identifier string `xml:"http://www.opengis.net/gml/3.2 identifier"`
			Name       string `xml:"http://www.opengis.net/gml/3.2 name"`
			Pos        struct {
				SRS  string `xml:"srsName,attr"`
				Text string `xml:",chardata"`
			} `xml:"shape>Point>pos"`
			Offset string `xml:"http://www.opengis.net/waterml/2.0 timeZone>TimeZone>zoneOffset"`
		} `xml:"http://www.opengis.net/waterml/2.0 MonitoringPoint"`
	} `xml:"http://www.opengis.net/om/2.0 featureOfInterest"`
	Result struct {
		Series *timeseries `xml:"http://www.opengis.net/waterml/2.0 MeasurementTimeseries"`
		Words  *struct {
			Points []struct{} `xml:"http://www.opengis.net/waterml/2.0 point"`
		} `xml:"http://www.opengis.net/waterml/2.0 CategoricalTimeseries"`
	} `xml:"http://www.opengis.net/om/2.0 result"`
}

type link struct {
	Href  string `xml:"http://www.w3.org/1999/xlink href,attr"`
	Title string `xml:"http://www.w3.org/1999/xlink title,attr"`
}

type namedValue struct {
	Name  link   `xml:"http://www.opengis.net/om/2.0 name"`
	Value string `xml:"http://www.opengis.net/om/2.0 value"`
}

type timeseries struct {
	Default metadata `xml:"http://www.opengis.net/waterml/2.0 defaultPointMetadata>DefaultTVPMeasurementMetadata"`
	Points  []struct {
		Time  string `xml:"http://www.opengis.net/waterml/2.0 MeasurementTVP>time"`
		Value struct {
			Nil    string `xml:"http://www.w3.org/2001/XMLSchema-instance nil,attr"`
			Reason string `xml:"nilReason,attr"`
			Text   string `xml:",chardata"`
		} `xml:"http://www.opengis.net/waterml/2.0 MeasurementTVP>value"`
		Own metadata `xml:"http://www.opengis.net/waterml/2.0 MeasurementTVP>metadata>TVPMeasurementMetadata"`
	} `xml:"http://www.opengis.net/waterml/2.0 point"`
}

// metadata of a point; what a point leaves out holds from the default.
type metadata struct {
	Quality   *link      `xml:"http://www.opengis.net/waterml/2.0 quality"`
	NilReason *link      `xml:"http://www.opengis.net/waterml/2.0 nilReason"`
	Qualifier []category `xml:"http://www.opengis.net/waterml/2.0 qualifier"`
	UOM       *struct {
		Code string `xml:"code,attr"`
		link
	} `xml:"http://www.opengis.net/waterml/2.0 uom"`
	Interpolation *link  `xml:"http://www.opengis.net/waterml/2.0 interpolationType"`
	Aggregation   string `xml:"http://www.opengis.net/waterml/2.0 aggregationDuration"`
}

type category struct {
	Title    string `xml:"http://www.w3.org/1999/xlink title,attr"`
	Category struct {
		Description string `xml:"http://www.opengis.net/swe/2.0 description"`
		Value       string `xml:"http://www.opengis.net/swe/2.0 value"`
	} `xml:"http://www.opengis.net/swe/2.0 Category"`
}

func (m metadata) over(d metadata) metadata {
	if m.Quality == nil {
		m.Quality = d.Quality
	}
	if m.Qualifier == nil {
		m.Qualifier = d.Qualifier
	}
	if m.UOM == nil {
		m.UOM = d.UOM
	}
	if m.Interpolation == nil {
		m.Interpolation = d.Interpolation
	}
	if m.Aggregation == "" {
		m.Aggregation = d.Aggregation
	}
	return m
}

func (m metadata) unit() string {
	if m.UOM == nil {
		return ""
	}
	for _, w := range []string{m.UOM.Code, m.UOM.Title, m.UOM.Href} {
		if w = strings.TrimSpace(w); w != "" {
			return w
		}
	}
	return ""
}

// exception is how a service says no (OWS Common).
type exception struct {
	Code string   `xml:"exceptionCode,attr"`
	Text []string `xml:"ExceptionText"`
}

const om = "http://www.opengis.net/om/2.0"

// document is what is gathered before any key can be made.
type document struct {
	identifier   string // of the collection
	observations []observation
	refused      *exception
	root         xml.Name
}

func read(d *xml.Decoder) (doc document, err error) {
	depth := 0
	for {
		t, err := d.Token()
		if err != nil {
			return doc, err
		}
		switch t := t.(type) {
		case xml.EndElement:
			if depth--; depth == 0 {
				return doc, nil
			}
		case xml.StartElement:
			if depth == 0 {
				doc.root = t.Name
			}
			depth++
			switch {
			case t.Name.Local == "OM_Observation" && t.Name.Space == om:
				var o observation
				if err := d.DecodeElement(&o, &t); err != nil {
					return doc, err
				}
				doc.observations = append(doc.observations, o)
				depth--
			case t.Name.Local == "Exception" && doc.refused == nil:
				doc.refused = &exception{}
				if err := d.DecodeElement(doc.refused, &t); err != nil {
					return doc, err
				}
				depth--
			case t.Name.Local == "identifier" && depth == 2 && doc.root.Local == "Collection":
				if err := d.DecodeElement(&doc.identifier, &t); err != nil {
					return doc, err
				}
				depth--
			}
		}
	}
}
