#!/bin/sh
# Runs once, when the database is made, after roles.sh: the role that copies the whole database, and nothing else.
set -eu
psql --set=ON_ERROR_STOP=1 --set=password="$(cat /run/secrets/backup_password)" \
    --username "$POSTGRES_USER" --dbname "$POSTGRES_DB" <<'SQL'
CREATE ROLE capsaddle_backup LOGIN REPLICATION PASSWORD :'password' NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
SQL
echo "host replication capsaddle_backup all scram-sha-256" >> "$PGDATA/pg_hba.conf"
