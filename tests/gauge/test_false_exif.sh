#!/bin/sh
# The whole way on photos whose EXIF names a focal length that cannot be.
python=/usr/bin/python3
[ -x "$python" ] || python=python3
command -v "$python" >/dev/null || exit 77
exec "$python" "$2/tests/gauge/false_exif.py" "$1" "$2"
