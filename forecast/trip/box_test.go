package trip

import (
	"bytes"
	"strings"
	"testing"
)

func TestABoxIsReadAndWrittenTheSame(t *testing.T) {
	b, err := ReadBox("box.csv", strings.NewReader("fly,size,count\nOlive  Spinner,16,4\nolive spinner,16,2\ntan pupa,14,3\n"))
	if err != nil {
		t.Fatal(err)
	}
	if n := b.Holds("OLIVE spinner", 16); n != 6 {
		t.Errorf("%d olive spinners, want 6: lines of one fly add up", n)
	}
	if err := b.Add("tan pupa", 14, -3); err != nil || b.Holds("tan pupa", 14) != 0 {
		t.Errorf("taking the last: %v", err)
	}
	if err := b.Add("olive spinner", 16, -7); err == nil {
		t.Error("more was taken than the box holds")
	}
	var out bytes.Buffer
	if err := b.Write(&out); err != nil {
		t.Fatal(err)
	}
	if out.String() != "fly,size,count\nolive spinner,16,6\n" {
		t.Errorf("written %q", out.String())
	}
	for text, want := range map[string]string{
		"name,size\n": "b:1: the first line must be fly,size,count", "fly,size,count\nolive,x,1\n": "b:2: size and count must be whole numbers",
		"fly,size,count\nolive,99,1\n": "b:2: hook size 99: use 1 to 32", "fly,size,count\nolive,16\n": "b:2: 2 columns, expected 3",
	} {
		if _, err := ReadBox("b", strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// Two insects that ask for the same pattern share a line, which the box shortens.
func TestOnePatternStandsOnceOnTheList(t *testing.T) {
	a := Fly{Name: "black pupa", For: []string{"a"}, Hooks: []Hook{{Size: 16, Count: 2}, {Size: 18, Count: 1}}, NeededBy: 9}
	a.merge(Fly{Name: "black pupa", For: []string{"b"}, Hooks: []Hook{{Size: 14, Count: 1}, {Size: 16, Count: 3}}, NeededBy: 7})
	tr := Trip{Tying: []Fly{a}}
	var b Box
	for size, n := range map[int]int{16: 2, 18: 9} {
		if err := b.Add("black pupa", size, n); err != nil {
			t.Fatal(err)
		}
	}
	tr.Pack(b)
	f := tr.Tying[0]
	if f.sizes() != "14, 16 (3), 18" || f.Take != 5 || f.InBox != 3 || f.ToTie() != 2 || tr.ToTie() != 2 || f.NeededBy != 7 || len(f.For) != 2 {
		t.Errorf("%s: take %d, in box %d, by %d: %+v", f.sizes(), f.Take, f.InBox, f.NeededBy, f)
	}
}
