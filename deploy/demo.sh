#!/bin/sh
# Sets everything up and shows a simulated kitchen. Arguments go to "rimekeeper demo" (--port, --data, --for).
set -eu
cd "$(dirname "$0")/.."
. deploy/environment.sh
make_environment requirements.lock "${RIMEKEEPER_ENV:-.venv}"
exec "$PY" -m rimekeeper demo "$@"
