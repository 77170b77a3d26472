#!/bin/sh
# Advice by prediction on the committed photos: some are left out, advice is taken, and the left-out ones are added.
python=/usr/bin/python3
[ -x "$python" ] || python=python3
command -v "$python" >/dev/null || exit 77
exec "$python" "$2/tests/gauge/plan_photos.py" "$1" "$2"
