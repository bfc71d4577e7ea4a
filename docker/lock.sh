#!/bin/sh
# Writes docker/build.txt and docker/runtime.txt anew: what the image is built with, and what runs in it, each with its
# SHA-256. Run it whenever pyproject.toml or docker/constraints.txt change; it needs pip-tools and PyPI:
#   python -m venv /tmp/lock && /tmp/lock/bin/pip install pip-tools && PATH=/tmp/lock/bin:$PATH sh docker/lock.sh
set -eu
cd "$(dirname "$0")/.."
lock() {
    pip-compile --quiet --generate-hashes --no-header --strip-extras --no-emit-index-url --no-emit-find-links \
        --no-emit-trusted-host --no-config --no-annotate --constraint docker/constraints.txt --output-file "$@"
}
lock docker/runtime.txt pyproject.toml
echo hatchling | lock docker/build.txt -
