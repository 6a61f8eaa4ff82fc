package nws

import (
	jsonv2 "github.com/go-json-experiment/json"
)

// cellOf builds the path of the grid cell from an answer of /points. It is put
// together from the office and the two numbers, so that the answer cannot send
// us anywhere else.
func cellOf(b body) (string, error) {
	var p struct {
		Office text `json:"gridId"`
		X      text `json:"gridX"`
		Y      text `json:"gridY"`
	}
	if len(b.Properties) == 0 || jsonv2.Unmarshal(b.Properties, &p, lax) != nil || !office.MatchString(string(p.Office)) || !index.MatchString(string(p.X)) || !index.MatchString(string(p.Y)) {
		return "", bad("answer", "does not name the grid cell of the point", "report it with the saved response", nil)
	}
	return "/gridpoints/" + string(p.Office) + "/" + string(p.X) + "," + string(p.Y), nil
}
