package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/export"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
)

type boxCmd struct {
	List boxListCmd `cmd:"" default:"withargs" help:"List what the box holds."`
	Add  boxAddCmd  `cmd:"" help:"Put flies into the box."`
	Take boxTakeCmd `cmd:"" help:"Take flies out of the box."`
}

type boxListCmd struct{ configFlag }

func (c boxListCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	b, err := readBox(cfg)
	if err != nil {
		return err
	}
	if len(b.Flies) == 0 {
		fmt.Fprintf(e.stdout, "The box is empty. Put flies in: eclose box add \"olive spinner\" --size 16 --count 6\n")
		return nil
	}
	fmt.Fprintf(e.stdout, "%-40s %4s %5s\n", "Fly", "size", "count")
	total := 0
	for _, f := range b.Flies {
		fmt.Fprintf(e.stdout, "%-40s %4d %5d\n", f.Name, f.Size, f.Count)
		total += f.Count
	}
	fmt.Fprintf(e.stdout, "%d flies\n", total)
	return nil
}

// boxedFly is what is put in or taken out.
type boxedFly struct {
	configFlag
	Fly   string `arg:"" help:"Its name as on the tying list, e.g. \"olive spinner\"."`
	Size  int    `required:"" help:"Hook size."`
	Count int    `default:"1" help:"How many."`
}

type boxAddCmd struct{ boxedFly }

func (c boxAddCmd) Run(e *env) error { return c.change(e, 1) }

type boxTakeCmd struct{ boxedFly }

func (c boxTakeCmd) Run(e *env) error { return c.change(e, -1) }

func (c boxedFly) change(e *env, sign int) error {
	if c.Count < 1 {
		return app.Usagef("--count %d: use 1 or more", c.Count)
	}
	cfg, err := c.load()
	if err != nil {
		return err
	}
	b, err := readBox(cfg)
	if err != nil {
		return err
	}
	if err := b.Add(c.Fly, c.Size, sign*c.Count); err != nil {
		return app.Usage(err)
	}
	if err := export.File(cfg.Path(cfg.Box), b.Write); err != nil {
		return fmt.Errorf("writing the fly box: %w", err)
	}
	fmt.Fprintf(e.stdout, "The box holds %d %s in size %d.\n", b.Holds(c.Fly, c.Size), c.Fly, c.Size)
	if sign > 0 {
		return hintFly(e, cfg, c.Fly)
	}
	return nil
}

// hintFly tells where no insect of the catalogue asks for a fly of that name, so that no
// tying list would find it.
func hintFly(e *env, cfg *config.Config, name string) error {
	catalogue, err := app.LoadCatalogue(cfg)
	if err != nil {
		return app.Usage(err)
	}
	names := flyNames(catalogue)
	if slices.Contains(names, name) {
		return nil
	}
	hint := "the names are those of eclose trip"
	if near := insects.Closest(name, names, 3); len(near) > 0 {
		hint = "did you mean " + strings.Join(near, " or ") + "?"
	}
	fmt.Fprintf(e.stdout, "No tying list asks for %q: %s\n", name, hint)
	return nil
}

// flyNames are the names of all patterns of a catalogue.
func flyNames(c *insects.Catalogue) []string {
	var out []string
	for _, g := range c.Groups() {
		for _, st := range forecast.Stages {
			if n := trip.PatternOf(&g, st).Name(); !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	return out
}

// readBox reads the fly box of a config; one that was never filled is empty.
func readBox(cfg *config.Config) (trip.Box, error) {
	f, err := os.Open(cfg.Path(cfg.Box))
	if errors.Is(err, fs.ErrNotExist) {
		return trip.Box{}, nil
	}
	if err != nil {
		return trip.Box{}, fmt.Errorf("reading the fly box: %w", err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	b, err := trip.ReadBox(cfg.Box, f)
	if err != nil {
		return b, app.Usage(err)
	}
	return b, nil
}
