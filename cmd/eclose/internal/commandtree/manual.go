package commandtree

import (
	"fmt"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// Manual is the pages for man: file name to content. One page is of the program, and one
// of each command with all that is below it. The date is that of the edition; release is
// the program's version; closing is what every page ends with, by the title of its section.
func Manual(tree *kong.Application, date, release string, closing [][2]string) map[string]string {
	out := map[string]string{}
	page := func(name string, n *kong.Node, deep bool) {
		var b strings.Builder
		fmt.Fprintf(&b, ".TH %s 1 \"%s\" %s \"User Commands\"\n.SH NAME\n%s \\- %s\n.SH SYNOPSIS\n.B %s\n%s\n",
			quoted(strings.ToUpper(name)), date, quoted(release), roff(name), roff(strings.TrimSuffix(n.Help, ".")), roff(tree.Name), roff(synopsis(n)))
		if deep {
			describe(&b, n, tree.Node)
		} else {
			b.WriteString(".SH COMMANDS\n")
			for _, c := range n.Children {
				if !c.Hidden {
					fmt.Fprintf(&b, ".TP\n.BR %s (1)\n%s\n", roff(tree.Name+"-"+c.Name), roff(c.Help))
				}
			}
		}
		b.WriteString(".SH \"OPTIONS OF EVERY COMMAND\"\n")
		flags(&b, tree.Node)
		for _, s := range closing {
			fmt.Fprintf(&b, ".SH %s\n%s\n", quoted(s[0]), roff(s[1]))
		}
		if deep {
			fmt.Fprintf(&b, ".SH \"SEE ALSO\"\n.BR %s (1)\n", roff(tree.Name))
		}
		out[name+".1"] = b.String()
	}
	page(tree.Name, tree.Node, false)
	for _, c := range tree.Children {
		if !c.Hidden {
			page(tree.Name+"-"+c.Name, c, true)
		}
	}
	return out
}

// describe writes the arguments and options of a command, then of those below it.
func describe(b *strings.Builder, n, root *kong.Node) {
	heading := ".SH"
	if n.Parent != root {
		fmt.Fprintf(b, ".SS %s\n%s\n", quoted(path(n)), roff(n.Help))
		heading = ""
	}
	if len(n.Positional) > 0 {
		if heading != "" {
			b.WriteString(".SH ARGUMENTS\n")
		}
		for _, p := range n.Positional {
			fmt.Fprintf(b, ".TP\n.I %s\n%s\n", roff(p.Name), roff(orName(p.Help, p.Name)))
		}
	}
	if anyShown(n) {
		if heading != "" {
			b.WriteString(".SH OPTIONS\n")
		}
		flags(b, n)
	}
	if len(n.Children) > 0 && heading != "" {
		b.WriteString(".SH COMMANDS\n")
	}
	for _, c := range n.Children {
		if !c.Hidden {
			describe(b, c, root)
		}
	}
}

func orName(help, name string) string {
	if help == "" {
		return "The " + name + "."
	}
	return help
}

func anyShown(n *kong.Node) bool {
	for _, f := range n.Flags {
		if !f.Hidden {
			return true
		}
	}
	return false
}

func flags(b *strings.Builder, n *kong.Node) {
	for _, f := range n.Flags {
		if f.Hidden {
			continue
		}
		name := "--" + f.Name
		if f.Tag.Negatable != "" {
			name = "--[no-]" + f.Name
		}
		if f.Short != 0 {
			name = "-" + string(f.Short) + ", " + name
		}
		if f.IsBool() {
			fmt.Fprintf(b, ".TP\n.B %s\n", roff(name))
		} else {
			fmt.Fprintf(b, ".TP\n.BI %s= %s\n", roff(name), quoted(f.FormatPlaceHolder()))
		}
		help := f.Help
		if words := choices(f.Value); slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(help, w) }) {
			help += " One of " + strings.Join(words, ", ") + "."
		}
		if f.HasDefault && f.Default != "" {
			help += " Default: " + f.Default + "."
		}
		if len(f.Envs) > 0 {
			help += " Environment variable: " + strings.Join(f.Envs, ", ") + "."
		}
		b.WriteString(roff(help) + "\n")
	}
}

// path is a command as it is typed after the program's name.
func path(n *kong.Node) string {
	if n.Parent == nil {
		return ""
	}
	return strings.TrimSpace(path(n.Parent) + " " + n.Name)
}

func synopsis(n *kong.Node) string {
	parts := []string{path(n)}
	if parts[0] == "" {
		parts = nil
	}
	switch {
	case len(n.Children) > 0:
		parts = append(parts, "COMMAND")
	default:
		for _, p := range n.Positional {
			parts = append(parts, p.Summary())
		}
	}
	return strings.Join(append(parts, "[OPTION...]"), " ")
}

// roff is text whose signs mean nothing to man.
func roff(s string) string {
	s = strings.NewReplacer(`\`, `\e`, "-", `\-`, "…", "...", "°", `\(de`, "³", `\(S3`, "–", `\(en`, "×", `\(mu`, "\n", " ").Replace(s)
	if strings.HasPrefix(s, ".") || strings.HasPrefix(s, "'") {
		s = `\&` + s
	}
	return s
}

// quoted is roff as one argument of a macro.
func quoted(s string) string { return `"` + strings.ReplaceAll(roff(s), `"`, `\(dq`) + `"` }
