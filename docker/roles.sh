#!/bin/sh
# Runs once, when the database is made: the role that the service works with. It reads and writes rows; tables belong to
# the owner, so the service can neither change the schema nor switch off the fence between sites.
set -eu
psql --set=ON_ERROR_STOP=1 --set=password="$(cat /run/secrets/app_password)" \
    --username "$POSTGRES_USER" --dbname "$POSTGRES_DB" <<'SQL'
CREATE ROLE capsaddle_app LOGIN PASSWORD :'password' NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
GRANT USAGE ON SCHEMA public TO capsaddle_app;
ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO capsaddle_app;
SQL
