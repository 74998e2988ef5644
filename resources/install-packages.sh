#!/usr/bin/env bash
# Installs the Debian packages that cornerbook needs, and only those that are missing.
#
#   resources/install-packages.sh [--for demo|test] [--check]
#
#   --for demo   what building and running needs (the default)
#   --for test   that, and what the tests and benches need
#   --check      lists what is missing and installs nothing
#
# Exit code 0: nothing is missing (any more). 1: something is missing. 2: wrong usage.
set -euo pipefail

building_and_running=(
    build-essential
    pkg-config
    libgstreamer1.0-dev
    libgstreamer-plugins-base1.0-dev
    gstreamer1.0-tools
    gstreamer1.0-plugins-base
    gstreamer1.0-plugins-good
    gstreamer1.0-plugins-bad
    gstreamer1.0-plugins-ugly
    gstreamer1.0-libav
    libcairo2-dev
    libpango1.0-dev
    libgtk-4-dev
    fonts-dejavu-core
)
testing=(
    python3-venv
    ffmpeg
    xvfb
    xdotool
    imagemagick
    dbus
    at-spi2-core
    python3-gi
    gir1.2-atspi-2.0
    gir1.2-gtk-4.0
    desktop-file-utils
    appstream
)
# Asked of pkg-config where there is no dpkg to ask.
libraries=(gstreamer-1.0 gstreamer-app-1.0 gstreamer-video-1.0 gstreamer-audio-1.0 gstreamer-pbutils-1.0 cairo gtk4)

usage() {
    sed -n '2,/^set /{/^#/s/^# \{0,1\}//p}' "$0"
}

wrong_usage() {
    echo "install-packages.sh: $1" >&2
    usage >&2
    exit 2
}

is_installed() {
    [ "$(dpkg-query --show --showformat='${db:Status-Status}' "$1" 2>/dev/null)" = installed ]
}

# Without dpkg and apt-get we can only look for the libraries and say the names.
other_distribution() {
    if command -v pkg-config >/dev/null && pkg-config --exists "${libraries[@]}"; then
        echo "No Debian package manager here; pkg-config finds the libraries, so the build may go on."
        exit 0
    fi
    echo "This script can install packages on Debian and its relatives only." >&2
    echo "Install what your distribution calls these Debian packages (README.md has a table):" >&2
    printf '  %s\n' "${wanted[@]}" >&2
    exit 1
}

purpose=demo
only_check=no
while [ $# -gt 0 ]; do
    case "$1" in
        --check) only_check=yes ;;
        --for)
            purpose="${2:-}"
            [ $# -ge 2 ] && shift
            ;;
        --help | -h)
            usage
            exit 0
            ;;
        *) wrong_usage "does not know $1" ;;
    esac
    shift
done

case "$purpose" in
    demo) wanted=("${building_and_running[@]}") ;;
    test) wanted=("${building_and_running[@]}" "${testing[@]}") ;;
    *) wrong_usage "--for takes demo or test, not '$purpose'" ;;
esac

if ! command -v dpkg-query >/dev/null || ! command -v apt-get >/dev/null; then
    other_distribution
fi

missing=()
for package in "${wanted[@]}"; do
    is_installed "$package" || missing+=("$package")
done

if [ ${#missing[@]} -eq 0 ]; then
    echo "All ${#wanted[@]} Debian packages for '$purpose' are installed."
    exit 0
fi

echo "Missing Debian packages for '$purpose':"
printf '  %s\n' "${missing[@]}"
if [ "$only_check" = yes ]; then
    exit 1
fi

as_root=()
if [ "$(id -u)" -ne 0 ]; then
    if ! command -v sudo >/dev/null; then
        echo "Installing needs root: run this script as root, or install sudo." >&2
        exit 1
    fi
    as_root=(sudo)
fi

echo "Installing them with apt-get:"
"${as_root[@]}" apt-get update </dev/null
"${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install --yes --no-install-recommends "${missing[@]}" </dev/null
