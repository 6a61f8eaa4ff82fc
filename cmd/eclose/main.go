package main

import (
	"os"
	_ "time/tzdata" // where the machine has no zones: Windows, a bare container

	_ "gocloud.dev/blob/s3blob" // s3://bucket, on any store that speaks S3
)

func main() {
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
