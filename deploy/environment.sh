# Makes the project's own virtual environment from a lock file. Sourced by demo.sh and test.sh.
# usage: make_environment LOCKFILE FOLDER ; afterwards $PY is its Python.

say() { printf '%s\n' "$*" >&2; }

as_root() { [ "$(id -u)" = 0 ]; }

# install_debian PACKAGE... : only those that are missing; needs root, else says what to do.
install_debian() {
    missing=""
    for package in "$@"; do
        dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'install ok installed' || missing="$missing $package"
    done
    [ -z "$missing" ] && return 0
    if ! as_root; then
        say "These Debian packages are needed and missing:$missing"
        say "Ask an administrator to run: apt-get install$missing"
        return 1
    fi
    say "Installing Debian packages:$missing"
    export DEBIAN_FRONTEND=noninteractive
    # shellcheck disable=SC2086  # a list of names
    apt-get install -y -qq --no-install-recommends $missing >/dev/null 2>&1 ||
        { apt-get update -qq >/dev/null && apt-get install -y -qq --no-install-recommends $missing >/dev/null; }
}

find_python() {
    for name in python3.11 python3 python3.12 python3.13 python3.14; do
        if command -v "$name" >/dev/null 2>&1 &&
            "$name" -c 'import sys; raise SystemExit(sys.version_info < (3, 11))' 2>/dev/null; then
            command -v "$name"
            return 0
        fi
    done
    return 1
}

make_environment() {
    lock=$1
    folder=$2
    python=$(find_python) || { say "Python 3.11 or newer is needed and was not found."; return 1; }
    wanted=$(cat "$lock" pyproject.toml deploy/fetch_charts.py | cksum)
    PY="$folder/bin/python"
    [ -x "$PY" ] && [ "$(cat "$folder/built-from" 2>/dev/null)" = "$wanted" ] && return 0
    if [ ! -x "$PY" ]; then
        "$python" -m venv "$folder" >/dev/null 2>&1 || {
            rm -rf "$folder"
            install_debian python3-venv || return 1
            "$python" -m venv "$folder" || return 1
        }
    fi
    say "Setting up in $folder (first time only, about a minute) …"
    "$PY" -m pip install -qq --disable-pip-version-check --require-hashes -r "$lock" || return 1
    "$PY" -m pip install -qq --disable-pip-version-check --no-deps --editable . || return 1
    printf '%s' "$wanted" >"$folder/built-from"
}
