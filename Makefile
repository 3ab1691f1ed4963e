# Two commands: `make demo` shows what it does, `make test` checks that it does it.

TYPST_VERSION := 0.15.1
CARGO_BIN := $(or $(CARGO_HOME),$(HOME)/.cargo)/bin
DEMO_MONTH := 2026-10

.PHONY: demo test bench sample schemas typst

demo: typst
	cargo run --locked --quiet -- report data/demo --month $(DEMO_MONTH) --out reports
	@echo
	@echo "Open reports/$(DEMO_MONTH)/sites/kingfisher-barns/report.pdf (an invented fleet; see data/demo)."

test: typst
	cargo fmt --check
	cargo clippy --locked --all-targets -- -D warnings
	cargo test --locked --no-fail-fast

# The pinned renderer, built by Cargo if it is not there.
typst:
	@if ! { "$(CARGO_BIN)/typst" --version || typst --version; } 2>/dev/null | grep -q "^typst $(TYPST_VERSION)"; then \
		cargo install --locked typst-cli --version $(TYPST_VERSION); \
	fi

# What a run costs, at several sizes of fleet; an optimised build, and half an hour on two cores.
bench: typst
	TUBWRIGHT_BENCH_OUT=$(CURDIR)/reports/bench.md cargo bench --locked --bench bench

# The JSON Schemas beside a validator that is not ours; needs Python 3 with jsonschema and PyYAML (tests/schemas).
schemas:
	python3 tests/schemas/check.py

# The samples of reports/sample from the demo fleet. The documents repeat byte by byte, which a test holds them to; the
# pictures of them need pdftoppm (poppler-utils) and chromium, and are not compared.
SAMPLE := target/sample/$(DEMO_MONTH)
sample: typst
	cargo run --locked --quiet -- report data/demo --month $(DEMO_MONTH) --out target/sample
	cp $(SAMPLE)/fleet.pdf reports/sample/fleet.pdf
	cp $(SAMPLE)/sites/kingfisher-barns/report.pdf reports/sample/site-report.pdf
	cp $(SAMPLE)/sites/heron-gym/logbook.pdf reports/sample/log-book.pdf
	pdftoppm -r 66 -f 1 -l 1 -singlefile -png reports/sample/site-report.pdf reports/sample/page-one
	pdftoppm -r 66 -f 2 -l 2 -singlefile -png reports/sample/site-report.pdf reports/sample/page-two
	pdftoppm -r 66 -f 1 -l 1 -singlefile -png reports/sample/fleet.pdf reports/sample/fleet
	chromium --headless --no-sandbox --hide-scrollbars --window-size=1280,820 \
		--screenshot=reports/sample/page.png file://$(CURDIR)/$(SAMPLE)/index.html
