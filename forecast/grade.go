package forecast

import (
	"strings"

	"example.org/eclose/model/insects"
)

// Sighted is the grade of a stage calibrated on sightings at the river itself.
// The catalogue has no such grade: it belongs to one river.
const Sighted insects.Grade = "sightings"

// Recorded is the grade of a stage whose dates are those of open records of its
// region.
const Recorded insects.Grade = recordsWord

const recordsWord = "records"

const sightingsHere = "sightings here"

// GradeOf finds the grade behind the words that a stage carries; "" for words
// of another version.
func GradeOf(words string) insects.Grade {
	if strings.HasPrefix(words, sightingsHere) {
		return Sighted
	}
	if strings.HasPrefix(words, recordsWord) {
		return Recorded
	}
	g, _ := insects.GradeOf(words)
	return g
}

// GradeWord is one word, for tables, for the grade that a stage carries. Words
// of another version give their first word.
func GradeWord(words string) string {
	if g := GradeOf(words); g == Recorded {
		return words // with their number
	} else if g != "" {
		return g.Word()
	}
	first, _, _ := strings.Cut(words, " ")
	return strings.TrimSuffix(first, ",")
}
