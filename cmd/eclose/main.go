package main

import (
	"os"
	_ "time/tzdata" // where the machine has no zones: Windows, a bare container
)

func main() {
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
