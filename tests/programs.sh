#!/bin/sh
# Programs that tests need and Python does not bring: Chromium, which draws the pages.
#   as root, on a system with apt-get:  installs it where it is missing
#   otherwise:                          names the tests that are not run, and goes on
#   with CI=true:                       fails where it is missing and cannot be installed
set -eu
cd "$(dirname "$0")/.."

has_chromium() {
    command -v chromium || command -v chromium-browser || command -v google-chrome
}

if program=$(has_chromium); then
    printf 'pages are drawn by %s\n' "$program"
    exit 0
fi
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    printf 'installing Chromium with apt-get\n'
    export DEBIAN_FRONTEND=noninteractive
    if apt-get update -qq >/dev/null &&
        apt-get install -y -qq --no-install-recommends chromium fonts-dejavu-core >/dev/null &&
        program=$(has_chromium); then
        printf 'pages are drawn by %s\n' "$program"
        exit 0
    fi
fi
printf 'Chromium is missing and could not be installed. Not run:\n'
grep -l 'pytest.mark.browser' tests/journeys/test_*.py | while read -r file; do
    sed -n "s|^def \(test_[a-z0-9_]*\).*|  $file::\1|p" "$file"
done
if [ "${CI:-}" = true ]; then
    printf 'CI=true: nothing may be left out.\n'
    exit 1
fi
