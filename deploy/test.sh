#!/bin/sh
# Sets everything up and runs every check: style, types, tests with real parts. Arguments go to pytest.
set -eu
cd "$(dirname "$0")/.."
. deploy/environment.sh
# libatomic1 is what the browser driver of the tests needs and a small system lacks.
install_debian mosquitto chromium openssl fonts-dejavu-core libatomic1
make_environment requirements-test.lock "${RIMEKEEPER_TEST_ENV:-.venv-test}"
bin=$(dirname "$PY")
"$bin/ruff" check
"$bin/ruff" format --check
"$bin/mypy"
# Two at a time, a file each: many tests wait for real time to pass.
exec "$PY" -m pytest -n 2 --dist loadfile --no-loadscope-reorder "$@"
