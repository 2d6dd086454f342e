#!/usr/bin/env bash
# Installs what the tests need from Debian's packages: only as root on Debian, only what is missing.
set -euo pipefail
want=()
command -v chromium >/dev/null || want+=(chromium)
command -v pdftoppm >/dev/null || want+=(poppler-utils)
command -v soffice >/dev/null || want+=(libreoffice-calc)
compgen -G '/usr/lib/postgresql/*/bin/initdb' >/dev/null || want+=(postgresql)
[ ${#want[@]} -eq 0 ] && exit 0
if [ "$(id -u)" -ne 0 ] || ! command -v apt-get >/dev/null; then
  echo "Not installed here: ${want[*]}. The tests that need them are skipped and named."
  exit 0
fi
echo "Installing ${want[*]} ..."
export DEBIAN_FRONTEND=noninteractive
apt-get update -qq >/dev/null
apt-get install -y -qq --no-install-recommends "${want[@]}" >/dev/null
