package insects

// Grade says how a value is known, best first.
type Grade string

// The grades. Own marks choices of this project (kinds, weights, wording)
// rather than statements about the animal.
const (
	Measured      Grade = "measured"       // own computation from a trap record named by the source
	Published     Grade = "published"      // read in the source
	PartPublished Grade = "part-published" // one end or one part read, the rest common practice
	Derived       Grade = "derived"        // worked out from published figures
	Proxy         Grade = "proxy"          // published or measured for a relative
	Prior         Grade = "prior"          // worked out from calendar windows
	Practice      Grade = "practice"       // common practice or memory, no source
	Guess         Grade = "guess"
	Own           Grade = "own"
)

var grades = map[Grade]bool{
	Measured: true, Published: true, PartPublished: true, Derived: true, Proxy: true,
	Prior: true, Practice: true, Guess: true, Own: true,
}

// NeedsCitation reports whether the grade claims a source that can be looked up.
func (g Grade) NeedsCitation() bool {
	switch g {
	case Measured, Published, PartPublished, Derived, Proxy:
		return true
	default:
		return false
	}
}

// Words is the grade as printed to people.
func (g Grade) Words() string {
	switch g {
	case Measured:
		return "measured at one site"
	case Published:
		return "published"
	case PartPublished:
		return "partly published, otherwise common practice"
	case Derived:
		return "derived from published figures"
	case Proxy:
		return "from a related insect"
	case Prior:
		return "prior, estimated from calendar dates"
	case Practice:
		return "common practice, no source"
	case Guess:
		return "guess, no source"
	case Own:
		return "our own default"
	default: // of another version
		return string(g)
	}
}

// Word is the grade in one word, for tables.
func (g Grade) Word() string {
	switch g {
	case PartPublished:
		return "partly"
	case Proxy:
		return "related"
	case Own:
		return "default"
	default:
		return string(g)
	}
}

// Fact is one line of a catalogue table, as written.
type Fact struct {
	Group  string
	Field  string
	Region Region // empty: holds everywhere
	Value  string
	Spread string // one standard deviation: same unit, a share for dd50, days for windows
	Grade  Grade
	Source string
	Note   string
	Basis  string // of a window: what it was collected over, as written; see parseBasis

	File string
	Line int
}

// Source is one entry of the reference list.
type Source struct {
	Code     string
	Citation string
	Seen     string // what of it was read: text, abstract, data, ...
}
