package nws

import (
	"example.org/eclose/ingest/feed/response"
	"github.com/go-json-experiment/json/jsontext"
)

// cellOf builds the path of the grid cell from an answer of /points. It is put
// together from the office and the two numbers, so that the answer cannot send
// us anywhere else.
func cellOf(b body) (string, error) {
	var p struct {
		Office jsontext.Value `json:"gridId"`
		X      jsontext.Value `json:"gridX"`
		Y      jsontext.Value `json:"gridY"`
	}
	if len(b.Properties) == 0 || response.Unmarshal(b.Properties, &p) != nil {
		return "", feed.Unexpected("response", "has no properties", nil)
	}
	// The numbers were strings once.
	o, x, y := response.Word(p.Office), response.Word(p.X), response.Word(p.Y)
	if !office.MatchString(o) || !index.MatchString(x) || !index.MatchString(y) {
		return "", feed.Unexpected("response", "does not name the grid cell of the point", nil)
	}
	return "/gridpoints/" + o + "/" + x + "," + y, nil
}
