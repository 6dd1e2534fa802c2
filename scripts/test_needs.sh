#!/usr/bin/env bash
# The programs some tests drive: a browser, a database server, a reader of PDF files. Installs what is missing where
# that can be done without asking; elsewhere says so, and those tests skip. With CI=true nothing may be missing.
set -euo pipefail

packages=() what=()
command -v chromium chromium-browser google-chrome >/dev/null ||
    { packages+=(chromium fonts-dejavu-core) what+=("pages in a browser (chromium)"); }
compgen -G '/usr/lib/postgresql/*/bin/postgres' >/dev/null || command -v postgres >/dev/null ||
    { packages+=(postgresql) what+=("records in PostgreSQL (postgresql)"); }
command -v pdftotext >/dev/null ||
    { packages+=(poppler-utils) what+=("reports read back (poppler-utils)"); }
[ ${#packages[@]} -gt 0 ] || exit 0

if ! command -v apt-get >/dev/null; then
    reason="this system has no apt-get"
elif [ "$(id -u)" -ne 0 ] && ! sudo -n true 2>/dev/null; then
    reason="this user may not install packages"
else
    as=()
    [ "$(id -u)" -eq 0 ] || as=(sudo -n)
    echo "Installing for the tests: ${packages[*]}"
    if "${as[@]}" apt-get update -qq &&
        "${as[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
            "${packages[@]}" >/dev/null; then
        exit 0
    fi
    reason="apt-get failed"
fi

echo "NOT TESTED HERE, because $reason:"
printf '  %s\n' "${what[@]}"
echo "To test them too: apt-get install ${packages[*]}"
[ "${CI:-}" != true ]
