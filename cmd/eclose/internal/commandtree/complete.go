package commandtree

import (
	"fmt"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// Completion is one word that may come next.
type Completion struct {
	Word, Help string
}

// fileName stands among the candidates where the name of a file may come.
const fileName = ":file"

// Complete lists what the last word may become. The words are those after the
// program's name; the last one may be empty or a part.
func Complete(tree *kong.Application, words []string) (out []Completion) {
	if len(words) == 0 {
		words = []string{""}
	}
	last := words[len(words)-1]
	at, value, positional, onlyArgs := position(tree, words[:len(words)-1])
	add := func(prefix string, all []Completion) {
		for _, c := range all {
			if c.Word == fileName || strings.HasPrefix(prefix+c.Word, last) {
				if c.Word != fileName {
					c.Word = prefix + c.Word
				}
				out = append(out, c)
			}
		}
	}
	switch name, _, cut := strings.Cut(last, "="); {
	case value != nil:
		add("", valuesOf(value))
	case !onlyArgs && cut && strings.HasPrefix(name, "-"):
		if f := flagOf(at, name); f != nil {
			add(name+"=", valuesOf(f.Value))
		}
	case !onlyArgs && strings.HasPrefix(last, "-"):
		add("", flagsOf(at))
	default:
		add("", argumentsOf(at, positional))
	}
	return out
}

// position follows the words down the tree: the command reached, the flag that waits for
// its value, how many arguments came, whether only arguments may follow.
func position(tree *kong.Application, words []string) (at *kong.Node, value *kong.Value, positional int, onlyArgs bool) {
	at = tree.Node
	for _, w := range words {
		switch {
		case value != nil:
			value = nil
		case w == "--":
			onlyArgs = true
		case !onlyArgs && strings.HasPrefix(w, "-") && len(w) > 1:
			if f := flagOf(at, w); f != nil && !f.IsBool() && !f.IsCounter() && !strings.Contains(w, "=") {
				value = f.Value
			}
		default:
			i := slices.IndexFunc(at.Children, func(n *kong.Node) bool { return n.Name == w || slices.Contains(n.Aliases, w) })
			if i >= 0 && !onlyArgs {
				at = at.Children[i]
			} else {
				positional++
			}
		}
	}
	return at, value, positional, onlyArgs
}

// flagOf finds a flag of a command or of those above it, as it was typed.
func flagOf(at *kong.Node, typed string) *kong.Flag {
	name, _, _ := strings.Cut(typed, "=")
	for _, group := range at.AllFlags(true) {
		for _, f := range group {
			if name == "--"+f.Name || f.Short != 0 && name == "-"+string(f.Short) || slices.Contains(f.Aliases, strings.TrimPrefix(name, "--")) {
				return f
			}
		}
	}
	return nil
}

func flagsOf(at *kong.Node) (out []Completion) {
	for _, group := range at.AllFlags(true) {
		for _, f := range group {
			out = append(out, Completion{"--" + f.Name, f.Help})
			if f.Tag.Negatable != "" {
				out = append(out, Completion{"--no-" + f.Name, "Not: " + f.Help})
			}
		}
	}
	return out
}

func argumentsOf(at *kong.Node, n int) (out []Completion) {
	if len(at.Children) > 0 && n == 0 {
		for _, c := range at.Children {
			if !c.Hidden {
				out = append(out, Completion{c.Name, c.Help})
			}
		}
		return out
	}
	if n >= len(at.Positional) && len(at.Positional) > 0 && at.Positional[len(at.Positional)-1].IsSlice() {
		n = len(at.Positional) - 1
	}
	if n < len(at.Positional) {
		return valuesOf(at.Positional[n])
	}
	return nil
}

// fileWords are the placeholders of flags whose value is the name of a file or folder.
var fileWords = []string{"FILE", "DIR", "FILES"}

func valuesOf(v *kong.Value) (out []Completion) {
	for _, w := range choices(v) {
		out = append(out, Completion{Word: w})
	}
	placeholder := v.Tag.PlaceHolder
	if slices.Contains(fileWords, placeholder) || slices.Contains([]string{"path", "existingfile", "existingdir"}, v.Tag.Type) {
		out = append(out, Completion{Word: fileName})
	}
	return out
}

// choices are the words that a value may be, if they are few.
func choices(v *kong.Value) (out []string) {
	if v.Enum == "" {
		return nil
	}
	for _, w := range v.EnumSlice() {
		if w != "" {
			out = append(out, w)
		}
	}
	return out
}

// Print writes the candidates as the scripts read them: a word, a tab, its help.
func Print(all []Completion) string {
	var b strings.Builder
	for _, c := range all {
		fmt.Fprintf(&b, "%s\t%s\n", c.Word, strings.ReplaceAll(c.Help, "\n", " "))
	}
	return b.String()
}

// Scripts are what each shell reads once: a function that asks the program. The words
// after -- are those of the line as far as the cursor.
var Scripts = map[string]string{
	"bash": `# eclose completion for bash. Add to ~/.bashrc: source <(eclose completion bash)
_eclose() {
	local line word IFS=$'\n'
	COMPREPLY=()
	# The line as far as the cursor; bash cuts a word at "=", which is mended here.
	local words=() i
	for ((i = 1; i <= COMP_CWORD; i++)); do
		word=${COMP_WORDS[i]}
		if [[ $word == "=" && ${#words[@]} -gt 0 ]]; then
			words[-1]+="="
		elif [[ ${#words[@]} -gt 0 && ${words[-1]} == --*= && ${COMP_WORDS[i-1]} == "=" ]]; then
			words[-1]+=$word
		else
			words+=("$word")
		fi
	done
	local current=${words[-1]}
	while read -r line; do
		word=${line%%$'\t'*}
		if [[ $word == :file ]]; then
			compopt -o filenames 2>/dev/null
			while read -r word; do COMPREPLY+=("$word"); done < <(compgen -f -- "${current#--*=}")
			continue
		fi
		if [[ $current == --*=* && $COMP_WORDBREAKS == *=* ]]; then word=${word#*=}; fi
		COMPREPLY+=("$word")
	done < <("${COMP_WORDS[0]}" complete -- "${words[@]}" 2>/dev/null)
}
complete -F _eclose eclose
`,
	"zsh": `#compdef eclose
# eclose completion for zsh. Save as _eclose in a folder of $fpath, or add to ~/.zshrc
# after compinit: source <(eclose completion zsh)
_eclose() {
	local -a found
	local line file=0
	while IFS= read -r line; do
		if [[ ${line%%$'\t'*} == :file ]]; then file=1; continue; fi
		found+=("${${line%%$'\t'*}//:/\\:}:${line#*$'\t'}")
	done < <("${words[1]}" complete -- "${(@)words[2,CURRENT]}" 2>/dev/null)
	(( ${#found} )) && _describe 'eclose' found
	if (( file )); then
		[[ $PREFIX == --*=* ]] && compset -P '--*='
		_files
	fi
}
if [[ $zsh_eval_context[-1] == loadautofunc ]]; then _eclose "$@"; else compdef _eclose eclose; fi
`,
	"fish": `# eclose completion for fish. Save as ~/.config/fish/completions/eclose.fish
function __eclose_complete
	set -l words (commandline -opc)
	set -l current (commandline -ct)
	for line in ($words[1] complete -- $words[2..-1] "$current" 2>/dev/null)
		if string match -q ':file*' -- $line
			__fish_complete_path (string replace -r '^--[^=]*=' '' -- "$current")
		else
			echo $line
		end
	end
end
complete -c eclose -f -a '(__eclose_complete)'
`,
}
