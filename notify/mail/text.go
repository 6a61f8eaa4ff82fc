package mail

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

const textWidth = 72

// askText asks for a report.
const askText = "Did you see it? None yet, a few or many: one tap records it, no account. \"None yet\" is worth as much."

// glue holds a number and its percent sign on one line.
const glue = "\x00"

// text is the plain part: it says everything that the HTML part says.
func text(p page) string {
	var b strings.Builder
	if p.Intro != "" {
		para(&b, "", p.Intro)
		for _, s := range p.List {
			para(&b, "- ", s)
		}
		b.WriteString("\n" + strings.Repeat("-", textWidth) + "\n\n")
	}
	for i, x := range p.Blocks {
		if i > 0 {
			b.WriteString("\n" + strings.Repeat("-", textWidth) + "\n\n")
		}
		x.text(&b)
	}
	b.WriteString("\n" + strings.Repeat("-", textWidth) + "\n")
	for _, s := range p.Foot {
		para(&b, "", s)
	}
	if p.Own != "" {
		fmt.Fprintf(&b, "Your page for the river bank, works offline: %s\n", p.Own)
	}
	if p.Manage != "" {
		fmt.Fprintf(&b, "Change or pause: %s\nUnsubscribe: %s\n", p.Manage, p.Unsubscribe)
	}
	return b.String()
}

func (x block) text(b *strings.Builder) {
	para(b, "", x.Heading)
	b.WriteString("\n")
	if x.Warm != "" {
		para(b, "", "WARM WATER: "+x.Warm)
		b.WriteString("\n")
	}
	paras(b, "", x.Lead)
	if len(x.Caution) > 0 {
		b.WriteString("\nCAUTION\n")
		paras(b, "  ", x.Caution)
	}
	if len(x.Bars) > 0 {
		b.WriteString("\n" + barText(x.Bars))
	}
	if len(x.Facts) > 0 {
		b.WriteString("\n")
		for _, f := range x.Facts {
			para(b, "", f.Name+": "+f.Value)
		}
	}
	if len(x.Tie) > 0 {
		b.WriteString("\n")
		para(b, "", "Tie "+or(x.TieBy, "before you go")+":")
		paras(b, "  ", x.Tie)
	}
	if len(x.Flow) > 0 {
		b.WriteString("\n")
		paras(b, "", x.Flow)
	}
	if len(x.Small) > 0 {
		b.WriteString("\n")
		paras(b, "", x.Small)
	}
	if x.Saw != "" {
		b.WriteString("\n")
		para(b, "", askText)
		fmt.Fprintf(b, "%s\n", x.Saw)
	}
	if x.URL != "" {
		fmt.Fprintf(b, "\nFull forecast: %s\n", clean(x.URL))
	}
}

// paras writes each of some texts as para does.
func paras(b *strings.Builder, indent string, texts []string) {
	for _, s := range texts {
		para(b, indent, s)
	}
}

// para writes s in lines of textWidth; words longer than that, such as links,
// stay whole.
func para(b *strings.Builder, indent, s string) {
	n := 0
	for i, w := range strings.Fields(strings.ReplaceAll(s, " %", glue+"%")) {
		w = strings.ReplaceAll(w, glue, " ")
		l := utf8.RuneCountInString(w)
		switch {
		case i == 0:
			b.WriteString(indent)
			n = len(indent)
		case n+1+l > textWidth:
			b.WriteString("\n" + indent)
			if indent != "" {
				b.WriteString("  ")
			}
			n = len(indent) + 2
		default:
			b.WriteString(" ")
			n++
		}
		b.WriteString(w)
		n += l
	}
	b.WriteString("\n")
}
