#!/bin/sh
# All set-up on a bare Debian 12 machine, then the work; quick when nothing changed.
#
#   sh app/setup.sh demo   the whole job on the sample scan, no screen, no Qt
#   sh app/setup.sh test   every test
#   sh app/setup.sh open   the bench, on a desktop
#
# Further words go to the program that is started: sh app/setup.sh demo --out somewhere
# As root, or where sudo works, missing Debian packages are installed; else the line is said.
# SOUNDING_PYTHON names a Python (3.11, 3.12 or 3.13) to use in place of the first that fits.
set -eu

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$root"
venv=$root/.venv

say() { printf '%s\n' "$*" >&2; }

fits() { # a Python that runs and has a version in pyproject.toml's range
    "$1" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] < (3, 14))' 2>/dev/null
}

can_make_environments() { "$1" -c 'import ensurepip, venv' 2>/dev/null; }

debian() { # install packages, or say the line that does and stop
    command -v apt-get >/dev/null 2>&1 || {
        say "This machine lacks what Debian calls: $*. Install these with its own package manager, then start again."
        return 1
    }
    say "Installing through apt: $*"
    if [ "$(id -u)" = 0 ]; then as_root=''
    elif command -v sudo >/dev/null 2>&1 && { sudo -n true 2>/dev/null || [ -t 0 ]; }; then as_root=sudo
    else
        say "That needs an administrator. Run this line as one, then start again:"
        say "  apt-get update && apt-get install -y --no-install-recommends $*"
        return 1
    fi
    wait_for_lock='-o DPkg::Lock::Timeout=300'
    # shellcheck disable=SC2086  # as_root is one word or none; the option is two words
    $as_root apt-get $wait_for_lock -qq update >/dev/null
    # shellcheck disable=SC2086
    $as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get $wait_for_lock -qq install -y --no-install-recommends "$@" >/dev/null
}

choose_python() { # sets python
    python=''
    for name in "${SOUNDING_PYTHON:-}" python3 python3.11 python3.12 python3.13 /usr/bin/python3; do
        if [ -n "$name" ] && fits "$name"; then
            if can_make_environments "$name"; then
                python=$name
                return
            fi
        fi
    done
}

make_environment() {
    if [ -x "$venv/bin/python" ] && fits "$venv/bin/python" &&
        "$venv/bin/python" -m pip --version >/dev/null 2>&1; then
        return
    fi
    choose_python
    if [ -z "$python" ]; then
        # Debian's python3 comes without the means to make environments; both in one step.
        debian python3 python3-venv
        choose_python
    fi
    [ -n "$python" ] || {
        say "No Python 3.11, 3.12 or 3.13 that can make a virtual environment was found. Install one and name it: SOUNDING_PYTHON=/path/to/python3"
        exit 1
    }
    say "Making $venv with $("$python" --version)"
    "$python" -m venv --clear "$venv"
}

install() { # $1: run, bench or test, a list in app/locked
    wanted=$(cat pyproject.toml app/locked/*.txt | cksum)
    for stamp in "$venv/.sounding-$1" "$venv/.sounding-test"; do
        [ ! -f "$stamp" ] || [ "$(cat "$stamp")" != "$wanted" ] || return 0
    done
    say "Installing what Sounding needs (a few minutes the first time)"
    # Every part by the sum of its file, and built ones only: nothing else is run or unpacked.
    "$venv/bin/python" -m pip install --quiet --disable-pip-version-check --only-binary :all: \
        --require-hashes --requirement "app/locked/$1.txt" >&2
    "$venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps \
        --no-build-isolation --editable . >&2
    printf '%s\n' "$wanted" >"$venv/.sounding-$1"
}

missing_libraries() { # prints those packages whose library the linker does not find
    known=$(PATH="$PATH:/sbin:/usr/sbin" ldconfig -p)
    while read -r package library; do
        case $known in *"$library "*) ;; *) printf '%s ' "$package" ;; esac
    done
}

missing_programs() { # prints those packages whose program is not there
    while read -r package program; do
        command -v "$program" >/dev/null 2>&1 || printf '%s ' "$package"
    done
}

qt_libraries() {
    missing_libraries <<'LIST'
libegl1 libEGL.so.1
libgl1 libGL.so.1
libglib2.0-0 libglib-2.0.so.0
libdbus-1-3 libdbus-1.so.3
libfontconfig1 libfontconfig.so.1
libxkbcommon0 libxkbcommon.so.0
libxkbcommon-x11-0 libxkbcommon-x11.so.0
libx11-xcb1 libX11-xcb.so.1
libxcb-cursor0 libxcb-cursor.so.0
libxcb-icccm4 libxcb-icccm.so.4
libxcb-image0 libxcb-image.so.0
libxcb-keysyms1 libxcb-keysyms.so.1
libxcb-randr0 libxcb-randr.so.0
libxcb-render-util0 libxcb-render-util.so.0
libxcb-shape0 libxcb-shape.so.0
libxcb-xinerama0 libxcb-xinerama.so.0
LIST
}

test_programs() { # a screen without a monitor, and the outside programs that tests compare with
    missing_programs <<'LIST'
xvfb Xvfb
xauth xauth
xdotool xdotool
dcmtk dcmdump
libgdcm-tools gdcmconv
dcm2niix dcm2niix
dicom3tools dciodvfy
orthanc Orthanc
openssl openssl
poppler-utils pdftoppm
qpdf qpdf
LIST
}

debian_packages() { # $1: the packages that are missing, maybe none
    # shellcheck disable=SC2086  # a list of words
    [ -z "$1" ] || debian $1
}

bounded() { # whatever happens, a run ends: each test has its limit, and all of them together
    timeout --kill-after=60 7200 "$@"
}

run_tests() {
    # Two runs, one after the other; each test runs once. Those of core run where Qt cannot be
    # imported, which proves the wall between core and app with the whole of core's tests.
    status=0
    if [ $# -eq 0 ]; then
        # Two workers on two cores: threads inside a worker would only wait for each other.
        export OPENBLAS_NUM_THREADS=1
        SOUNDING_WITHOUT_QT=1 bounded "$venv/bin/python" -m pytest -q -n 2 --dist loadfile --no-loadscope-reorder -p no:pytest-qt tests/core || status=$?
        bounded "$venv/bin/python" -m pytest -q -n 2 --dist loadfile --no-loadscope-reorder --ignore=tests/core tests || status=$?
    else
        "$venv/bin/python" -m pytest "$@" || status=$?
    fi
    return $status
}

task=${1:-}
[ $# -eq 0 ] || shift
case $task in
demo)
    make_environment
    install run
    "$venv/bin/sounding" demo "$@"
    ;;
open)
    debian_packages "$(qt_libraries)"
    make_environment
    install bench
    "$venv/bin/sounding" open "$@"
    ;;
test)
    debian_packages "$(qt_libraries)$(test_programs)"
    make_environment
    install test
    run_tests "$@"
    ;;
*)
    sed -n '2,9s/^# \{0,1\}//p' "$0" >&2
    exit 2
    ;;
esac
