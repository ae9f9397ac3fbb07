#!/bin/sh
# Programs that tests need and Python does not bring: Chromium, which draws the pages, and mosquitto, a broker.
#   as root, on a system with apt-get:  installs them where they are missing
#   otherwise:                          names the tests that are not run, and goes on
#   with CI=true:                       fails where one is missing and cannot be installed
set -eu
cd "$(dirname "$0")/.."

find_browser() {
    command -v chromium || command -v chromium-browser || command -v google-chrome
}
find_broker() {
    PATH="$PATH:/usr/sbin:/usr/local/sbin" command -v mosquitto
}
need() { # name, finder, packages
    if program=$($2); then
        printf '%s: %s\n' "$1" "$program"
        return 0
    fi
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
        printf '%s: installing with apt-get\n' "$1"
        export DEBIAN_FRONTEND=noninteractive
        if apt-get update -qq >/dev/null &&
            apt-get install -y -qq --no-install-recommends $3 >/dev/null &&
            program=$($2); then
            printf '%s: %s\n' "$1" "$program"
            return 0
        fi
    fi
    printf '%s is missing and could not be installed. Not run:\n' "$1"
    grep -rl "pytest.mark.$1" tests --include='test_*.py' | while read -r file; do
        sed -n "s|^def \(test_[a-z0-9_]*\).*|  $file::\1|p" "$file"
    done
    if [ "${CI:-}" = true ]; then
        printf 'CI=true: nothing may be left out.\n'
        exit 1
    fi
}

need browser find_browser "chromium fonts-dejavu-core"
need broker find_broker "mosquitto"
