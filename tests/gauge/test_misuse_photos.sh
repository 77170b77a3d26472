#!/bin/sh
# The whole way on committed photos that should not be measured as they are: a sheet held by hand, in one photo and in all.
python=/usr/bin/python3
[ -x "$python" ] || python=python3
command -v "$python" >/dev/null || exit 77
exec "$python" "$2/tests/gauge/misuse_photos.py" "$1" "$2"
