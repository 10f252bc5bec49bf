# make demo: everything on a fresh machine, then a server.  make test: the whole suite.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
PORT ?= 8000
HOST ?= 127.0.0.1
RUN := $(BIN)/python manage.py

.PHONY: demo test bench-forecast bench-fleet bench-live bench-web mutants pictures words lint format types lock clean

demo: $(VENV)/runtime.stamp
	$(RUN) migrate --verbosity 0
	$(RUN) load_demo
	$(RUN) recompute_outlooks --verbosity 0
	$(RUN) serve --host $(HOST) --port $(PORT)

# The whole suite, on SQLite and then on PostgreSQL. ARGS goes to pytest: make test ARGS="-k saddle -x"
test: $(VENV)/dev.stamp
	$(BIN)/python -m pytest -n 3 --dist worksteal $(ARGS)
	.ci/on-postgres $(BIN)/python -m pytest -n 3 --dist worksteal -m "not browser" $(ARGS)

# How good the outlook is, on simulated fleets; and how fast. Neither is a test.
bench-forecast: $(VENV)/dev.stamp
	$(BIN)/python -m bench.forecast $(ARGS)

bench-fleet: $(VENV)/dev.stamp
	$(BIN)/python -m bench.fleet
	$(BIN)/python -m bench.fleet_db $(ARGS)

bench-live: $(VENV)/dev.stamp
	$(BIN)/python -m bench.live

# A server of two processes under 32 clients, on SQLite and on PostgreSQL. ARGS="--seconds 10" shortens it.
bench-web: $(VENV)/dev.stamp
	$(BIN)/python -m bench.web $(ARGS)
	.ci/on-postgres $(BIN)/python -m bench.web --here $(ARGS)

# Small faults put into a copy of geometry: does a test of it notice? ARGS="--sample 50 --only joint"
mutants: $(VENV)/dev.stamp
	$(BIN)/python -m bench.mutants $(ARGS)

# Takes the README's pictures anew; needs Chromium.
pictures: $(VENV)/dev.stamp
	$(BIN)/python -m bench.pictures

# Gathers the words to translate into shop/locale and makes what the app reads of them; needs gettext.
words: $(VENV)/dev.stamp
	$(RUN) makemessages --all --no-obsolete --no-wrap --add-location file --extension html,py,svg \
	  --ignore $(VENV) --ignore tests --ignore bench --ignore fixtures --verbosity 0
	$(RUN) compilemessages --ignore $(VENV) --verbosity 0

lint: $(VENV)/dev.stamp
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/djlint templates --lint --quiet
	$(RUN) makemigrations --check --dry-run
	$(RUN) check

types: $(VENV)/dev.stamp
	$(BIN)/mypy

format: $(VENV)/dev.stamp
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

# Needs uv. The lock files name no host and carry a hash for every file.
lock:
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url \
	  --custom-compile-command "make lock" pyproject.toml -o requirements.txt
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url \
	  --custom-compile-command "make lock" pyproject.toml --group dev -o requirements-dev.txt

$(VENV)/bin/python:
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Saddleroom needs Python 3.11 or newer; set PYTHON=")'
	$(PYTHON) -m venv $(VENV)

$(VENV)/runtime.stamp: requirements.txt | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --no-deps -r requirements.txt
	touch $@

$(VENV)/dev.stamp: requirements-dev.txt | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --no-deps -r requirements-dev.txt
	touch $@ $(VENV)/runtime.stamp

clean:
	rm -rf $(VENV) var .pytest_cache .mypy_cache .ruff_cache .hypothesis
