#!/bin/sh
# A copy of the whole database beside its archived log; both together bring back any moment since the oldest copy.
# Usage: backup.sh BASES ARCHIVE [--daily]     PGHOST, PGUSER, PGPASSWORD or PGPASSFILE say which server.
# Kept are BACKUP_COPIES copies (7) and the log that the oldest of them needs.
set -eu
bases=$1 archive=$2 copies=${BACKUP_COPIES:-7}
copy() {
    name=base-$(date -u +%Y%m%dT%H%M%SZ)
    rm -rf "$bases"/base-*.part
    pg_basebackup --pgdata="$bases/$name.part" --format=plain --wal-method=none --checkpoint=fast --no-password \
        --manifest-checksums=SHA256
    pg_verifybackup --quiet --no-parse-wal "$bases/$name.part"
    mv "$bases/$name.part" "$bases/$name"
    count=0
    for old in $(ls -1 "$bases" | grep '^base-[0-9TZ]*$' | sort -r); do
        count=$((count + 1))
        [ "$count" -le "$copies" ] || rm -rf "${bases:?}/$old"
    done
    oldest=$(ls -1 "$bases" | grep '^base-[0-9TZ]*$' | sort | head -n 1)
    first=$(sed -n 's/^START WAL LOCATION: .*(file \([0-9A-F]*\))$/\1/p' "$bases/$oldest/backup_label")
    pg_archivecleanup "$archive" "$first"
    echo "$name is kept; the log is kept from $first on"
}
copy
while [ "${3:-}" = --daily ]; do
    sleep 86400
    copy || echo "the copy failed; it is tried again tomorrow" >&2
done
