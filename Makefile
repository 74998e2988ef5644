# What can be done here: `make help`.

# Where `make install` installs.
PREFIX ?= $(HOME)/.local
ARGS ?=
# Feature sets that must build, lint and pass on their own: the core, the core with footage, and the default (the window).
CORE := --no-default-features
FOOTAGE := --no-default-features --features media

.NOTPARALLEL:
.DEFAULT_GOAL := help

##  make demo      install what is missing, build, and do the whole job on an invented session
.PHONY: demo
demo: rust packages-demo
	cargo run --release --locked -- demo $(ARGS)

##  make run       run the program, as in: make run ARGS="passes session.csv"
.PHONY: run
run: rust
	cargo run --release --locked -- $(ARGS)

##  make install   put the program into PREFIX/bin and its icon, desktop file and file type into PREFIX/share
.PHONY: install
install: rust packages-demo
	cargo build --release --locked --bin cornerbook
	install -D -m 755 target/release/cornerbook "$(DESTDIR)$(PREFIX)/bin/cornerbook"
	resources/desktop/install.sh "$(DESTDIR)$(PREFIX)/share"

##  make test      format, lints, documents, tests and cross-checks (RUN_SLOW_TESTS=1 adds the long ones)
.PHONY: test
test: rust packages-test format lint docs test-core test-default cross
	@echo "make test: format, lints, documents, tests and cross-checks passed"

##  make bench     the benches: speed against the goals of docs/methods.md
.PHONY: bench
bench: rust packages-test
	cargo bench --locked $(ARGS)

##  make help      this list
.PHONY: help
help:
	@sed -n 's/^##  //p' Makefile

# The steps of `make test`, each a target of its own. Clippy and tests share the dev profile, and the feature sets
# follow each other, so that no dependency is built twice for one purpose.

.PHONY: format
format:
	cargo fmt --check

.PHONY: lint
lint:
	cargo clippy --locked --all-targets $(CORE) -- -D warnings
	cargo clippy --locked --all-targets $(FOOTAGE) -- -D warnings
	cargo clippy --locked --all-targets -- -D warnings

.PHONY: docs
docs:
	RUSTDOCFLAGS="-D warnings" cargo doc --locked --no-deps

.PHONY: test-core
test-core:
	cargo test --locked $(CORE)

.PHONY: test-default
test-default:
	cargo test --locked

.PHONY: cross
cross:
	tests/cross/run

.PHONY: rust
rust:
	@command -v cargo >/dev/null || { echo "cargo is not found: install Rust 1.88 or newer (Debian: the rustup installer)"; exit 1; }

.PHONY: packages-demo packages-test
packages-demo packages-test: packages-%:
	@resources/install-packages.sh --for $*
