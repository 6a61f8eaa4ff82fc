package occurrence

import (
	"slices"
	"strings"
)

// A LifeStage is what was seen, in the words of Darwin Core's lifeStage.
type LifeStage string

// The life stages that are distinguished. Immature is every stage in the water or
// in the egg.
const (
	StageUnknown LifeStage = ""
	Adult        LifeStage = "adult"
	Subimago     LifeStage = "subimago"
	Teneral      LifeStage = "teneral" // an adult of minutes or hours
	Exuvia       LifeStage = "exuvia"  // a cast skin
	Immature     LifeStage = "immature"
)

// stageWords has the words met in open records. An immature word decides over
// any other: "nymph to adult" is not surely an adult.
var stageWords = []struct {
	stage LifeStage
	words []string
}{
	{Immature, []string{"nymph", "nymphs", "larva", "larvae", "larval", "pupa", "pupae", "egg", "eggs", "juvenile", "immature", "naiad", "instar", "embryo"}},
	{Exuvia, []string{"exuvia", "exuviae", "exuvium", "molt", "moult", "shuck"}}, //nolint:misspell // as Americans write it
	{Subimago, []string{"subimago", "subimagines", "subimagos", "subadult", "dun"}},
	{Teneral, []string{"teneral"}},
	{Adult, []string{"adult", "adults", "imago", "imagines", "spinner"}},
}

// ParseStage reads a life stage in free text.
func ParseStage(s string) LifeStage {
	words := strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return r < 'a' || r > 'z' })
	for _, x := range stageWords {
		for _, w := range words {
			if slices.Contains(x.words, w) {
				return x.stage
			}
		}
	}
	return StageUnknown
}
