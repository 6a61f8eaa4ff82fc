package main

import (
	"os"

	_ "gocloud.dev/blob/s3blob" // s3://bucket, on any store that speaks S3
)

func main() {
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
