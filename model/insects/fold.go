package insects

import (
	"sort"
	"strings"
	"unicode"
)

// foldLetters maps letters with marks to plain ones; names come from several
// languages, the queries from any keyboard.
var foldLetters = strings.NewReplacer(
	"ä", "a", "ö", "o", "ü", "u", "ß", "ss", "é", "e", "è", "e", "ê", "e", "á", "a", "à", "a", "â", "a",
	"í", "i", "ó", "o", "ô", "o", "ú", "u", "ñ", "n", "ç", "c", "å", "a", "ø", "o", "æ", "ae", "’", "", "'", "",
)

// sameWord gives one spelling for words written in several ways.
var sameWord = map[string]string{
	"grey": "gray", "sulfur": "sulphur", "caddisfly": "caddis", "stone": "stonefly", "wing": "winged",
}

// fold brings a name to the form in which names are compared: small plain
// letters, single blanks, singular words, one spelling.
func fold(s string) string {
	s = foldLetters.Replace(strings.ToLower(s))
	words := strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	out := words[:0]
	for _, w := range words {
		w = singular(w)
		if x, ok := sameWord[w]; ok {
			w = x
		}
		if w != "the" && w != "a" {
			out = append(out, w)
		}
	}
	// "salmon fly" and "stone fly" are written in one word as well.
	joined := strings.Join(out, " ")
	joined = strings.ReplaceAll(joined, "stonefly fly", "stonefly")
	return strings.ReplaceAll(joined, " fly", "fly")
}

func singular(w string) string {
	switch {
	case len(w) > 4 && strings.HasSuffix(w, "flies"):
		return w[:len(w)-3] + "y"
	case len(w) > 3 && strings.HasSuffix(w, "s") && !strings.HasSuffix(w, "ss") &&
		!strings.HasSuffix(w, "us") && !strings.HasSuffix(w, "is"):
		return w[:len(w)-1]
	}
	return w
}

// sounds writes letters that sound alike in one way.
var sounds = strings.NewReplacer("ch", "k", "ck", "k", "ph", "f", "y", "i", "c", "k", "z", "s")

// spoken is the name as one word of sounds: it finds names with the blanks in
// the wrong place and names heard rather than read.
func spoken(s string) string {
	s = sounds.Replace(foldLetters.Replace(strings.ToLower(s)))
	var b strings.Builder
	var last rune
	for _, r := range s {
		if (unicode.IsLetter(r) || unicode.IsDigit(r)) && r != last {
			b.WriteRune(r)
			last = r
		}
	}
	return b.String()
}

// allowedErrors is how many letters may be wrong in a name of that length.
func allowedErrors(s string) int {
	switch n := len([]rune(s)); {
	case n <= 3:
		return 0
	case n <= 5:
		return 1
	case n <= 9:
		return 2
	default:
		return 3
	}
}

// editDistance counts the letters to insert, delete, change or swap with their
// neighbour to turn a into b (optimal string alignment). It stops early and
// returns limit when the distance is limit or more.
func editDistance(a, b string, limit int) int {
	x, y := []rune(a), []rune(b)
	if abs(len(x)-len(y)) >= limit {
		return limit
	}
	before := make([]int, len(y)+1)
	last := make([]int, len(y)+1)
	now := make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		now[0] = i
		least := i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			d := min(last[j]+1, now[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				d = min(d, before[j-2]+1)
			}
			now[j] = d
			least = min(least, d)
		}
		if least >= limit {
			return limit
		}
		before, last, now = last, now, before
	}
	return min(last[len(y)], limit)
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

// Closest returns up to n of some names that are spelled most like q, the nearest first:
// for "did you mean". Names that share too little with it are left out.
func Closest(q string, names []string, n int) []string {
	type near struct {
		name string
		d    int
	}
	folded := fold(q)
	limit := max(2, len(folded)/2)
	var all []near
	for _, name := range names {
		f := fold(name)
		d := editDistance(folded, f, limit+1)
		if strings.Contains(f, folded) || strings.Contains(folded, f) && len(f) > 3 {
			d = min(d, 1)
		}
		if d <= limit {
			all = append(all, near{name, d})
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].d < all[j].d })
	var out []string
	for _, x := range all[:min(n, len(all))] {
		out = append(out, x.name)
	}
	return out
}
