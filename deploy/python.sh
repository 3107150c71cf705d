# Read by deploy/check and deploy/try (`. deploy/python.sh`): finds a Python, makes .venv, fills it from a lock.
# Nothing here is run for its own sake, and nothing outside .venv is changed except through `as_root`.

say() { printf '%s  %s\n' "$(date +%H:%M:%S)" "$*"; }

fail() {
    printf '%s: %s\n' "$(basename "$0")" "$*" >&2
    exit 1
}

# Runs a long step in silence; shows what it printed only if it failed.
quietly() {
    what=$1
    shift
    say "$what"
    quiet_log=$(mktemp)
    if "$@" >"$quiet_log" 2>&1; then
        rm -f "$quiet_log"
        return 0
    fi
    printf '%s failed. The end of what it said:\n' "$what" >&2
    tail -n 60 "$quiet_log" >&2
    rm -f "$quiet_log"
    return 1
}

# Root as we are, or through sudo; under CI nobody is there to type a password.
as_root() {
    if [ "$(id -u)" = 0 ]; then
        "$@"
    elif command -v sudo >/dev/null 2>&1; then
        if [ "${CI:-}" = true ]; then sudo -n "$@"; else sudo "$@"; fi
    else
        echo "this needs root, and there is no sudo here: $*" >&2
        return 1
    fi
}

# install_packages NAME...: Debian packages, asked for once, lists refreshed once.
install_packages() {
    command -v apt-get >/dev/null 2>&1 || {
        echo "no apt-get here: install by hand what stands for Debian's $*" >&2
        return 1
    }
    if [ -z "${lists_are_new:-}" ]; then
        quietly "refreshing the list of packages" as_root apt-get update -q || return 1
        lists_are_new=yes
    fi
    quietly "installing $*" as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get install -q -y --no-install-recommends "$@"
}

# Sets `python` to the first Python 3.11 or newer, or leaves it empty.
find_python() {
    python=
    for name in python3 python3.13 python3.12 python3.11; do
        if command -v "$name" >/dev/null 2>&1 &&
            "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            python=$name
            return 0
        fi
    done
}

# make_venv LOCK INSTALL-OPTION...: .venv as LOCK says, and this project in it. Skipped when nothing changed since.
make_venv() {
    lock=$1
    shift
    find_python
    if [ -z "$python" ] && ! command -v python3 >/dev/null 2>&1; then
        install_packages python3 python3-venv || true
        find_python
    fi
    [ -n "$python" ] || fail "Python 3.11 or newer is needed, and none was found. Nothing was changed."
    if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
        install_packages python3-venv ||
            fail "$python cannot make virtual environments, and python3-venv could not be installed."
    fi

    stamp=$("$python" - "$lock" pyproject.toml "$@" <<'PY'
import hashlib, pathlib, sys
digest = hashlib.sha256(repr((sys.version, sys.argv[1:], str(pathlib.Path.cwd()))).encode())
for name in sys.argv[1:3]:
    digest.update(pathlib.Path(name).read_bytes())
print(digest.hexdigest())
PY
    )
    if [ "$(cat .venv/made-from 2>/dev/null)" != "$stamp" ]; then
        quietly "making .venv" "$python" -m venv --clear .venv ||
            fail ".venv could not be made; remove the folder and try again."
        quietly "installing what $lock names (a minute or two)" \
            .venv/bin/python -m pip install --disable-pip-version-check --require-hashes -r "$lock" ||
            fail "not everything in $lock could be installed. Nothing outside .venv was changed; run this again."
        install_project "$@"
        quietly "checking that the releases fit together" .venv/bin/python -m pip check || exit 1
        printf '%s\n' "$stamp" >.venv/made-from
    fi
}

# The build backend comes from the lock too, hence no isolation: nothing further is fetched.
install_project() {
    quietly "installing the logbook" .venv/bin/python -m pip install --disable-pip-version-check \
        --no-deps --no-build-isolation --no-index "$@" || fail "the logbook itself could not be installed."
}
