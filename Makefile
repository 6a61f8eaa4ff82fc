.PHONY: help test race lint fuzz bench demo dist cover vuln mutants

help: ## list the targets
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/'

test: ## the README's test command
	go test ./...

race: ## the same under the race detector, long tests left out
	go test -race -short ./...

cover: ## coverage by package, reported, not targeted
	go test -short -cover ./...

lint: ## golangci-lint with the house rules
	golangci-lint run

demo: ## the whole job on invented rivers
	go run ./cmd/eclose demo --out demo-out --addr off

bench: ## every benchmark once
	go test -run '^$$' -bench . -benchtime 1x -benchmem ./...

vuln: ## known vulnerabilities; needs a network that reaches vuln.go.dev
	go run golang.org/x/vuln/cmd/govulncheck@v1.9.0 ./...

fuzz: ## every fuzz target for FUZZTIME (default 10s)
	@for p in $$(go list ./...); do \
	  for f in $$(go test -list '^Fuzz' $$p | grep '^Fuzz'); do \
	    echo "$$p $$f"; go test -run '^$$' -fuzz "^$$f$$" -fuzztime $${FUZZTIME:-10s} $$p || exit 1; done; done

mutants: ## which changes of the caution's code no test notices; EVERY=10 tries one in ten
	go run ./.ci/mutants -every $${EVERY:-1}

dist: ## reproducible static binaries for six platforms, with SHA-256 sums and a module list
	sh .ci/dist
