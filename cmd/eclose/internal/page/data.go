package page

import (
	"fmt"
	"net/http"
	"sort"
	"time"

	"example.org/eclose/model/insects"
)

type feedLine struct {
	Feed
	River  string
	Age    string
	Asked  string
	Stale  bool
	Behind time.Duration
}

// staleAfter is the age from which a source counts as late. Our own
// default, twice what a caution lets a flow be old.
const staleAfter = 4 * time.Hour

func (s *site) data(r *http.Request) (*answer, error) {
	feeds, err := s.Data.Feeds(r.Context())
	if err != nil {
		return nil, fmt.Errorf("reading the state of the feeds: %w", err)
	}
	var body struct {
		Feeds   []feedLine
		Rivers  []head
		Sources []insects.Source
		Grades  []gradeCount
	}
	now := s.Now()
	for _, f := range feeds {
		l := feedLine{Feed: f, River: f.River, Age: "no data yet", Asked: "never"}
		if river, ok := s.river(f.River); ok {
			l.River = river.Name
		}
		if !f.Newest.IsZero() {
			l.Age, l.Stale = ago(now.Sub(f.Newest)), now.Sub(f.Newest) > staleAfter
			if f.Newest.After(now) {
				l.Age, l.Stale = "reaches "+f.Newest.Format("2 Jan"), false
			}
		}
		if !f.Retrieved.IsZero() {
			l.Asked = ago(now.Sub(f.Retrieved))
		}
		body.Feeds = append(body.Feeds, l)
	}
	for _, river := range s.Data.Rivers() {
		h, _, err := s.head(r, river)
		if err != nil {
			return nil, err
		}
		body.Rivers = append(body.Rivers, h)
	}
	body.Sources = s.Catalogue.Sources()
	body.Grades = s.grades()
	return &answer{name: "data", title: "Data sources", here: "data", body: body}, nil
}

type gradeCount struct {
	Grade, Words string
	N            int
}

// grades counts how the values of the catalogue are known.
func (s *site) grades() []gradeCount {
	n := map[insects.Grade]int{}
	for _, g := range s.groups {
		for _, f := range g.Facts() {
			n[f.Grade]++
		}
	}
	var out []gradeCount
	for g, k := range n {
		out = append(out, gradeCount{string(g), g.Words(), k})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Grade < out[j].Grade })
	return out
}

func (s *site) about(*http.Request) (*answer, error) {
	return &answer{name: "about", title: "About Eclose", here: "about"}, nil
}
