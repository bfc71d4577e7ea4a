#!/bin/sh
# archive_command of PostgreSQL: keeps a segment of its log once it is whole, and never another one under its name.
# Usage: archive.sh PATH NAME FOLDER
set -eu
if [ -e "$3/$2" ]; then
    cmp -s "$1" "$3/$2" && exit 0  # kept before, and the server was stopped before it knew
    echo "$3/$2 holds something else" >&2
    exit 1
fi
cp "$1" "$3/$2.part"
sync "$3/$2.part" 2>/dev/null || sync
mv "$3/$2.part" "$3/$2"
