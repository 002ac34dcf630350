#!/bin/sh
# Set up a real Blender to test in: Debian trixie's (4.3, Python 3.13) in a folder of its own.
#
#   sh tests/window/setup_blender.sh FOLDER
#   MEDALWRIGHT_BLENDER=FOLDER python -m pytest tests/window
#
# Needs root on a Debian-like machine; takes some minutes, 2 GB, and installs debootstrap,
# Xvfb and ImageMagick beside. Once it is there, calling it again does nothing.
set -eu
folder=${1:?usage: setup_blender.sh FOLDER}
if [ -x "$folder/usr/bin/blender" ] && [ -e "$folder/.medalwright-ready" ]; then
  exit 0
fi
[ "$(id -u)" = 0 ] || { echo "setup_blender.sh: only root can set up a system root" >&2; exit 1; }
command -v apt-get >/dev/null || { echo "setup_blender.sh: no apt-get here" >&2; exit 1; }
export DEBIAN_FRONTEND=noninteractive
missing=
command -v debootstrap >/dev/null || missing="$missing debootstrap"
command -v Xvfb >/dev/null || missing="$missing xvfb"
command -v import >/dev/null || missing="$missing imagemagick"
if [ -n "$missing" ]; then
  apt-get update -q
  # shellcheck disable=SC2086
  apt-get install -q -y --no-install-recommends $missing
fi
mkdir -p "$folder"
debootstrap --variant=minbase trixie "$folder"
cp /etc/resolv.conf "$folder/etc/resolv.conf"
for conf in /etc/apt/apt.conf /etc/apt/apt.conf.d/*proxy*; do
  [ -e "$conf" ] && cp "$conf" "$folder/etc/apt/apt.conf.d/"
done
# Some packages' scripts want /proc while they are installed; Blender does not.
mount -t proc proc "$folder/proc" 2>/dev/null && trap 'umount "$folder/proc"' EXIT
chroot "$folder" apt-get install -q -y --no-install-recommends blender python3-numpy \
  libgl1-mesa-dri libegl-mesa0
chroot "$folder" apt-get clean
touch "$folder/.medalwright-ready"
