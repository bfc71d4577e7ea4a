#!/bin/sh
# Restores the newest copy with all of its archived log into a folder, starts it on a port of its own, and runs what is
# given against it: the drill that tells whether a backup is one.
# Usage: restore_drill.sh BASES ARCHIVE FOLDER COMMAND...     FOLDER must not exist; DRILL_TARGET_TIME: a moment to go to.
# COMMAND finds the restored server at PGHOST (a folder) and PGPORT. Not as root: PostgreSQL refuses that. No password is
# asked for: DRILL_LISTEN (127.0.0.1) must be an address that nobody else reaches.
set -eu
bases=$1 archive=$2 folder=$3
shift 3
[ ! -e "$folder" ] || { echo "$folder is there already" >&2; exit 1; }
newest=$(ls -1 "$bases" | grep '^base-[0-9TZ]*$' | sort | tail -n 1)
[ -n "$newest" ] || { echo "$bases holds no copy" >&2; exit 1; }
pg_verifybackup --quiet --no-parse-wal "$bases/$newest"
mkdir -m 700 "$folder"
cp -R "$bases/$newest" "$folder/data"
chmod 700 "$folder/data"
touch "$folder/data/recovery.signal"
PGHOST=$folder PGPORT=${DRILL_PORT:-54329}
export PGHOST PGPORT
{
    echo "restore_command = 'cp \"$archive/%f\" \"%p\"'"
    echo "recovery_target_action = 'promote'"
    [ -z "${DRILL_TARGET_TIME:-}" ] || echo "recovery_target_time = '$DRILL_TARGET_TIME'"
} >> "$folder/data/postgresql.auto.conf"
echo "local all all trust
host all all samenet trust" > "$folder/data/pg_hba.conf"
stop() { pg_ctl --pgdata="$folder/data" --mode=fast --silent stop || true; rm -rf "$folder"; }
trap stop EXIT
pg_ctl --pgdata="$folder/data" --wait --timeout="${DRILL_TIMEOUT_S:-3600}" --silent --log="$folder/log" \
    --options="-c listen_addresses=${DRILL_LISTEN:-127.0.0.1} -p $PGPORT -c unix_socket_directories=$folder -c archive_mode=off" start \
    || { tail -n 20 "$folder/log" >&2; exit 1; }
until [ "$(psql --no-psqlrc --tuples-only --no-align --dbname="${DRILL_DATABASE:-postgres}" \
    --username="${DRILL_USER:-postgres}" --command='SELECT pg_is_in_recovery()')" = f ]; do sleep 0.2; done
echo "$newest is restored with its log"
"$@"
