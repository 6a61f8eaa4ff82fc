package sensorthings

import (
	"strings"

	"example.org/eclose/ingest/feed/response"
	"github.com/go-json-experiment/json/jsontext"
)

// id is a number on some servers and a text on others.
type id string

// UnmarshalJSONFrom implements json.UnmarshalerFrom.
func (i *id) UnmarshalJSONFrom(dec *jsontext.Decoder) error {
	v, err := dec.ReadValue()
	if err != nil {
		return err
	}
	switch v.Kind() {
	case '"':
		var s string
		err = response.Unmarshal(v, &s)
		*i = id(s)
	case '0':
		*i = id(v)
	}
	return err
}

type thing struct {
	ID        id     `json:"@iot.id"`
	Name      string `json:"name"`
	Locations []struct {
		Location struct {
			Type        string         `json:"type"`
			Coordinates jsontext.Value `json:"coordinates"`
			Geometry    struct {
				Type        string         `json:"type"`
				Coordinates jsontext.Value `json:"coordinates"`
			} `json:"geometry"`
		} `json:"location"`
	} `json:"Locations"`
	Datastreams []datastream `json:"Datastreams"`
}

type datastream struct {
	ID   id     `json:"@iot.id"`
	Name string `json:"name"`
	Unit *struct {
		Name       string `json:"name"`
		Symbol     string `json:"symbol"`
		Definition string `json:"definition"`
	} `json:"unitOfMeasurement"`
	Property struct {
		Name       string `json:"name"`
		Definition string `json:"definition"`
	} `json:"ObservedProperty"`
	Thing        thing         `json:"Thing"`
	Observations []observation `json:"Observations"`
	Next         string        `json:"Observations@iot.nextLink"`
}

type observation struct {
	Phenomenon string         `json:"phenomenonTime"`
	Result     jsontext.Value `json:"result"`
	Quality    jsontext.Value `json:"resultQuality"`
	Datastream *datastream    `json:"Datastream"`
}

// element is an entry of a list: an entity of any kind, or the short form of
// many observations ($resultFormat=dataArray).
type element struct {
	datastream
	observation
	Streams    []datastream       `json:"Datastreams"`
	Locations  jsontext.Value     `json:"Locations"`
	Components []string           `json:"components"`
	Rows       [][]jsontext.Value `json:"dataArray"`
}

// answer is a list or one entity. An entity's own members are read as element.
type answer struct {
	Value   *[]jsontext.Value `json:"value"`
	Next    string            `json:"@iot.nextLink"`
	Message string            `json:"message"`
	Error   jsontext.Value    `json:"error"`
	Code    jsontext.Value    `json:"code"`
}

func (a answer) refusal() string {
	if a.Value != nil {
		return ""
	}
	var e struct {
		Message string `json:"message"`
	}
	if a.Error.Kind() == '{' && response.Unmarshal(a.Error, &e) == nil && e.Message != "" {
		return e.Message
	}
	if len(a.Code) > 0 && a.Message != "" {
		return strings.Trim(string(a.Code), `"`) + " " + a.Message
	}
	return ""
}
