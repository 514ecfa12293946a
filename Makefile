# Each target builds the environment that it needs; `make` alone lists the targets.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
WANTS := pyproject.toml constraints.txt

export PIP_DISABLE_PIP_VERSION_CHECK := 1
export PIP_ROOT_USER_ACTION := ignore

.DEFAULT_GOAL := help
.NOTPARALLEL:
.PHONY: help demo test check docs bench clean

# A stamp says for which folder its environment was made. An environment without a working pip, or that was moved here from
# another folder, is made anew.
ifneq ($(filter demo test check docs bench,$(MAKECMDGOALS)),)
ifneq ($(wildcard $(VENV)),)
$(shell { $(BIN)/python -m pip --version && { [ ! -e $(VENV)/.core ] || [ "$$(cat $(VENV)/.core)" = "$$PWD" ]; }; } >/dev/null 2>&1 \
  || { echo "upmast: $(VENV) is not sound, making it anew" >&2; rm -rf $(VENV); })
endif
endif

help:
	@echo 'make demo    run the worked example from a radio plan to a judged line; writes demo/out'
	@echo 'make test    all tests'
	@echo 'make check   format, lint, types, import order'
	@echo 'make docs    write the pages and schemas that follow from declarations: fields, sources, commands, codes, parts'
	@echo 'make bench   the benchmarks'
	@echo 'make clean   remove all that make made: the environment, caches, demo/out'

demo: $(VENV)/.core
	@$(BIN)/python demo/run.py

test: $(VENV)/.dev
	@echo 'upmast: running the tests'
	@$(BIN)/python -m pytest -n 2 --dist loadfile

check: $(VENV)/.dev
	@echo 'upmast: checking format, lint, types and import order'
	@$(BIN)/ruff format --check --quiet .
	@$(BIN)/ruff check --quiet .
	@$(BIN)/mypy --strict --no-error-summary
	@$(BIN)/python -m pytest tests/test_layers.py

docs: $(VENV)/.core
	@$(BIN)/python scripts/declarations.py
	@$(BIN)/python scripts/sources.py
	@$(BIN)/python scripts/pages.py

bench: $(VENV)/.dev
	@for script in benchmarks/[a-z]*.py; do \
	  [ -e "$$script" ] || { echo 'upmast: no benchmarks here'; break; }; \
	  echo "upmast: $$script"; $(BIN)/python "$$script" || exit 1; done

clean:
	@echo 'upmast: removing $(VENV), .ci/venv, caches and demo/out'
	@rm -rf $(VENV) .ci/venv demo/out build src/*.egg-info .pytest_cache .mypy_cache .ruff_cache .hypothesis
	@find src tests scripts demo benchmarks -name __pycache__ -prune -exec rm -rf {} + 2>/dev/null || true

$(VENV)/pyvenv.cfg:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null \
	  || { echo 'upmast needs Python 3.11 or newer. On Debian 12 or newer:  sudo apt-get install python3 python3-venv' >&2; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null \
	  || { echo 'Python is here without its venv module. On Debian:  sudo apt-get install python3-venv' >&2; exit 1; }
	@echo 'upmast: making $(VENV)'
	@$(PYTHON) -m venv $(VENV) || { rm -rf $(VENV); exit 1; }

# setuptools comes from the pins too, so that no build fetches a version of its own
$(VENV)/.core: $(WANTS) | $(VENV)/pyvenv.cfg
	@echo 'upmast: installing what upmast needs into $(VENV)'
	@$(BIN)/python -m pip install -q -c constraints.txt setuptools
	@$(BIN)/python -m pip install -q -c constraints.txt --no-build-isolation -e .
	@echo "$$PWD" > $@

$(VENV)/.dev: $(WANTS) | $(VENV)/pyvenv.cfg
	@echo 'upmast: installing what upmast and its tests need into $(VENV)'
	@$(BIN)/python -m pip install -q -c constraints.txt setuptools
	@$(BIN)/python -m pip install -q -c constraints.txt --no-build-isolation -e '.[dev]'
	@echo "$$PWD" > $(VENV)/.core
	@echo "$$PWD" > $@
