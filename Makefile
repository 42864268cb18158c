# Everything that people and machines do with Doorleaf. Needs Go and npm.

GO ?= go
export CGO_ENABLED ?= 0

BUNDLE   := web/assets/dist/server.js
SOURCES  := $(wildcard web/assets/*.mjs web/assets/package.json web/assets/package-lock.json)
DUCKDB   := cmd/doorleaf/testdata/duckdb
PAGES    := cmd/doorleaf/testdata/pages
PLATFORMS := linux/amd64 linux/arm64 darwin/arm64 windows/amd64

.PHONY: demo build assets duckdb pages gallery test check truth soak bench release clean

## demo: build everything and serve the demo network on loopback
demo: build
	bin/doorleaf demo

## build: the program, at bin/doorleaf
build: assets
	$(GO) build -trimpath -o bin/doorleaf ./cmd/doorleaf

## assets: ECharts for the drawing engine and the typefaces, through npm
assets: $(BUNDLE)

$(BUNDLE): $(SOURCES)
	cd web/assets && npm ci --no-audit --no-fund && npm run build

## duckdb: the engine that a test lets query the Parquet files, through npm
duckdb: $(DUCKDB)/node_modules/.package-lock.json

$(DUCKDB)/node_modules/.package-lock.json: $(DUCKDB)/package.json $(DUCKDB)/package-lock.json
	cd $(DUCKDB) && npm ci --no-audit --no-fund && touch node_modules/.package-lock.json

## pages: what tests hold the pages against, axe-core and html-validate, through npm
pages: $(PAGES)/node_modules/.package-lock.json

$(PAGES)/node_modules/.package-lock.json: $(PAGES)/package.json $(PAGES)/package-lock.json
	cd $(PAGES) && npm ci --no-audit --no-fund && touch node_modules/.package-lock.json

## gallery: every page in every state, in pictures, in gallery/, and held against all rules; needs Chromium
gallery: assets pages
	DOORLEAF_BROWSER=required DOORLEAF_GALLERY="$(CURDIR)/gallery" $(GO) test ./cmd/doorleaf -run TestPages -count=1 -timeout 90m

## test: the whole suite; browser tests too where Chromium is found
test: build duckdb pages
	$(GO) vet ./...
	$(GO) test -timeout 20m ./...

## check: test, and formatting, staticcheck, races, dead code
check: test
	test -z "$$(gofmt -l .)"
	$(GO) mod tidy -diff
	$(GO) tool staticcheck ./...
	test -z "$$($(GO) tool deadcode -test ./...)" || { $(GO) tool deadcode -test ./...; false; }
	CGO_ENABLED=1 $(GO) test -race -short $$($(GO) list ./... | grep -v web/chart) # which has no goroutines and draws for minutes

## truth: how near the whole pipeline comes to the truth, over made-up networks; SEED=n for others
truth:
	$(GO) run ./cmd/truth -networks 200 -seed $(or $(SEED),1)

## soak: every reader of bytes from outside fuzzed, FUZZTIME each; then kills, full disks, flipped bytes, readers, a day of use, SOAK=0.1 for a tenth
FUZZTIME ?= 30m
SOAK     ?= 1
FUZZ     := importer/cardfile.FuzzRead importer/logbook.FuzzStitch importer/logbook.FuzzStitchGrowing importer.FuzzCollector \
	importer.FuzzPrepare importer.FuzzBenchCheck store.FuzzMerge store.FuzzMergeTables store.FuzzDecodeBlock server.FuzzUpload \
	cmd/doorleaf.FuzzTerminal web/report.FuzzReportText web/draw.FuzzRewriteIsSafe
SOAKS    := TestKilled|TestFileSizeLimit|TestFullDisk|TestDiskFull|TestDamagedFiles|TestReadersDuringImports|TestDayOfUse|TestMemoryOfLargeUploads

soak: build
	@for f in $(FUZZ); do \
	  echo "fuzzing $$f for $(FUZZTIME)"; \
	  $(GO) test ./$${f%.*} -run XXX -fuzz "^$${f##*.}\$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 10x || exit 1; \
	done
	DOORLEAF_SOAK=$(SOAK) $(GO) test ./store -count 1 -v -timeout 4h -run 'TestHistories|TestMergeIsAUnion' -rapid.checks 1000
	DOORLEAF_SOAK=$(SOAK) $(GO) test ./store ./cmd/doorleaf -p 1 -count 1 -v -timeout 6h -run '$(SOAKS)'
	DOORLEAF_SCALE=1000 $(GO) test ./cmd/doorleaf -count 1 -v -timeout 3h -run TestScale

## bench: the whole program beside others; start, pages and memory at 10 sites of ten years; benchmarks of each stage
bench: build
	DOORLEAF_BENCH=1 DOORLEAF_SCALE=10 $(GO) test ./cmd/doorleaf -count 1 -v -timeout 15m -run 'TestBeside|TestStart|TestScale'
	$(GO) test $$($(GO) list ./... | grep -v cmd/doorleaf) -run XXX -bench . -benchmem -benchtime 300ms -p 1

## release: static programs for every platform, in dist/
release: assets
	@for p in $(PLATFORMS); do \
	  out=dist/doorleaf-$${p%/*}-$${p#*/}; case $$p in windows/*) out=$$out.exe;; esac; \
	  echo $$out; \
	  GOOS=$${p%/*} GOARCH=$${p#*/} $(GO) build -trimpath -ldflags '-s -w' -o $$out ./cmd/doorleaf || exit 1; \
	done

clean:
	rm -rf bin dist gallery web/assets/node_modules $(DUCKDB)/node_modules $(PAGES)/node_modules
	find web/assets/dist -type f ! -name .keep -delete
