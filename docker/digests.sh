#!/bin/sh
# Writes docker/.env, which docker/compose.yaml reads: each image by the digest that its tag has now. Look at what has
# changed, then keep the file: from then on every build and start uses these bytes and no others.
#   sh docker/digests.sh && docker compose -f docker/compose.yaml up -d --build
set -eu
cd "$(dirname "$0")"
pinned() {
    digest=$(docker buildx imagetools inspect --format '{{.Manifest.Digest}}' "$2")
    case $digest in
        sha256:????????????????????????????????????????????????????????????????) echo "$1=$2@$digest" ;;
        *) echo "no digest of $2: $digest" >&2; exit 1 ;;
    esac
}
{
    pinned PYTHON_IMAGE python:3.11-slim
    pinned POSTGRES_IMAGE postgres:17-alpine
    pinned NGINX_IMAGE nginx:1.28-alpine
} > .env.new
mv .env.new .env
cat .env
