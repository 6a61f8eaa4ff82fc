package main

import (
	"fmt"
	"os"
	"strings"
	"text/tabwriter"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
)

type configCmd struct {
	Show configShowCmd `cmd:"" help:"Show each option in force and its source: the file and line, the default, a flag or a variable."`
}

type configShowCmd struct {
	Config   string `required:"" env:"ECLOSE_CONFIG" placeholder:"FILE" help:"Configuration file (TOML)."`
	Database string `env:"ECLOSE_DATABASE" placeholder:"URL" help:"What other commands would be given as --database."`
	Format   string `enum:"text,json" default:"text" help:"Output: text or json."`
}

func (c configShowCmd) Run(e *env) error {
	cfg, err := configFlag{c.Config}.load()
	if err != nil {
		return err
	}
	text, err := os.ReadFile(c.Config)
	if err != nil {
		return app.Usage(fmt.Errorf("reading the config file: %w", err))
	}
	values, err := cfg.Values(text, c.Config)
	if err != nil {
		return err
	}
	values = append([]config.Setting{{Key: "config", Value: c.Config, Source: flagOrVariable(c.Config, "--config", "ECLOSE_CONFIG")}}, values...)
	if c.Database != "" {
		over := config.Setting{Key: "database", Value: config.Shown("database", c.Database), Source: flagOrVariable(c.Database, "--database", "ECLOSE_DATABASE")}
		for i := range values {
			if values[i].Key == "database" {
				values[i] = over
			}
		}
	}
	if c.Format == "json" {
		return writeJSON(e.stdout, values)
	}
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	for _, v := range values {
		fmt.Fprintf(w, "%s\t%s\t%s\n", v.Key, strings.ReplaceAll(v.Value, "\n", " "), v.Source)
	}
	return w.Flush()
}

// flagOrVariable says which of the two gave a value. Where both say the same it names the
// variable.
func flagOrVariable(value, flag, variable string) string {
	if os.Getenv(variable) == value {
		return "environment variable " + variable
	}
	return flag
}
