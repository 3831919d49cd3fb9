# make demo and make test set up all they need; see README.md.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STUDY ?= demo_study

.PHONY: demo demo-large test check slow fuzz bench format clean help setup docs pictures processors processors-short mutants

help:
	@echo "make demo-large  a study with sessions, two sites, amendments and a late dome, simulated"
	@echo "make demo    recordings to verdict on the bicycle bells, with a simulated panel"
	@echo "make test    the tests (under 6 minutes on 2 cores)"
	@echo "make check   format, lint, types, layers"
	@echo "make pictures  the pictures of README and docs, from the program and the demo study"
	@echo "make docs    the documentation site, in docs/build"
	@echo "make processors  the same numbers under other processors' kernels     make mutants  do the tests notice faults"
	@echo "make slow    long simulations     make bench   speed ratios"
	@echo "make fuzz    2,000 hostile inputs (SEED=1 CASES=2000)"

$(VENV)/.installed: pyproject.toml constraints.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "Python 3.11 or newer is needed; $(PYTHON) is `$(PYTHON) --version`. Say which: make PYTHON=python3.12 ..."; exit 2; }
	@$(PYTHON) -c 'import ensurepip' 2>/dev/null || \
		{ echo "Python's venv module is incomplete; install it with: sudo apt-get install python3-venv"; exit 2; }
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e '.[test,dev,booths,cluster]'
	@$(BIN)/python -m listening.compile_ahead
	@touch $@

setup: $(VENV)/.installed

demo: setup
	$(BIN)/listening demo $(STUDY)

# a study with sessions, two sites, a withdrawal, amendments and a late dome, run by simulation to its page
demo-large: setup
	$(BIN)/listening demo demo_large --scenario protocols/two_days

test: setup
	$(BIN)/python -m pytest -q -n 2 --dist loadscope -m "not slow"

check: setup
	$(BIN)/ruff format --check listening stats tests stimuli_demo
	$(BIN)/ruff check listening stats tests stimuli_demo
	$(BIN)/mypy
	$(BIN)/python -m pytest -q tests/test_layers.py

# PART="stats/deciding" for some; a part that was cut off goes on where it stopped; LIST=1 says what was run
slow: setup
	$(BIN)/python tests/slow.py $(PART) $(if $(LIST),--list)

SEED ?= 1
CASES ?= 2000

fuzz: setup
	$(BIN)/python -m tests.fuzz.run --seed $(SEED) --cases $(CASES)

# the numeric tests and two studies' analyses under several kernel sets; SAVE=folder keeps what each gave
processors: setup
	test -f $(STUDY)/findings.json || $(BIN)/listening demo $(STUDY)
	test -f demo_large/findings.json || $(BIN)/listening demo demo_large --scenario protocols/two_days
	$(BIN)/python tests/processors/processors.py $(STUDY) demo_large $(if $(SAVE),--save $(SAVE))

processors-short: setup
	$(BIN)/python tests/processors/processors.py --short

# FILES="stats/deciding/verdict.py ..." for some of them, EACH=20 for more of each; NAMED=1 for those that lived once
mutants: setup
	$(BIN)/python tests/mutants.py $(FILES) --each $(or $(EACH),8) --seed $(SEED) $(if $(NAMED),--named)

bench: setup
	@for bench in bench/*.py; do echo "== $$bench"; $(BIN)/python $$bench || exit 1; done

docs: setup
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e '.[docs]'
	$(BIN)/python docs/run_notebook.py
	$(BIN)/sphinx-build -q -W --keep-going -b html docs docs/build
	@echo "open docs/build/index.html"

pictures: setup
	$(BIN)/python docs/make_pictures.py $(STUDY)

format: setup
	$(BIN)/ruff format listening stats tests stimuli_demo
	$(BIN)/ruff check --fix listening stats tests stimuli_demo

clean:
	rm -rf $(VENV) $(STUDY) $(STUDY)_for_a_person .mypy_cache .ruff_cache .pytest_cache
