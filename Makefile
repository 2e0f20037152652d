# Everything a new machine needs: Python 3.11 and make. `make demo` and `make test` make the environment first.
PYTHON ?= python3.11
VENV := .venv
RUN := $(VENV)/bin/python

.PHONY: demo env workshop test test-system soak constraints

demo: env
	$(VENV)/bin/release demo

env: $(VENV)/.made

# uv where it is installed, else venv and pip; the same versions and hashes either way.
$(VENV)/.made: constraints.txt pyproject.toml
	@if command -v uv >/dev/null; then \
	  uv venv --quiet --allow-existing --python 3.11 $(VENV) && \
	  uv pip install --no-config --quiet --python $(RUN) --require-hashes -r constraints.txt && \
	  uv pip install --no-config --quiet --python $(RUN) --no-deps -e . ; \
	else \
	  $$(command -v $(PYTHON) || command -v python3) -m venv $(VENV) && \
	  $(RUN) -m pip install --quiet --require-hashes -r constraints.txt && \
	  $(RUN) -m pip install --quiet --no-deps -e . ; \
	fi
	@touch $@

# What renders throws and trains the hand model; torch comes through pip, which may choose a build for the machine.
workshop: $(VENV)/.workshop

$(VENV)/.workshop: $(VENV)/.made
	$(RUN) -m pip install --quiet --constraint .ci/workshop.txt --group workshop
	@touch $@

test: env
	$(RUN) -m pytest

test-system: env workshop
	.ci/system
	$(RUN) -m pytest -m system

soak: env workshop
	.ci/system
	$(RUN) -m pytest -m soak --timeout 0
	$(RUN) -m pip install --quiet --group soak
	$(RUN) -m tests.corpus.fuzz_readers 3600 1

# Exact versions and hashes of everything but the workshop; needs uv.
constraints:
	uv pip compile --quiet --generate-hashes --no-header --no-annotate --all-extras --group dev \
	  --python-version 3.11 pyproject.toml -o constraints.txt
