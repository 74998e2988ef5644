#!/usr/bin/env bash
# Puts icon, desktop file, file type and description where a desktop looks for them, and tells it, where it can be told.
#
#   resources/desktop/install.sh SHARE      (as in ~/.local/share)
set -euo pipefail

share="${1:?usage: resources/desktop/install.sh SHARE}"
name=org.cornerbook.Cornerbook
cd "$(dirname "$0")"

install -D -m 644 "$name.desktop" "$share/applications/$name.desktop"
install -D -m 644 "$name.mime.xml" "$share/mime/packages/$name.xml"
install -D -m 644 "$name.metainfo.xml" "$share/metainfo/$name.metainfo.xml"
install -D -m 644 "$name.svg" "$share/icons/hicolor/scalable/apps/$name.svg"
install -D -m 644 "$name-symbolic.svg" "$share/icons/hicolor/symbolic/apps/$name-symbolic.svg"

# A package for others has its own triggers for these; a desktop without them looks for itself, later.
tell() {
    if command -v "$1" >/dev/null; then
        "$@" || echo "install.sh: $1 failed; the desktop may show the program later" >&2
    fi
}
tell update-mime-database "$share/mime"
tell update-desktop-database -q "$share/applications"
tell gtk-update-icon-cache -q -t "$share/icons/hicolor"
