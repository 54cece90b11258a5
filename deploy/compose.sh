#!/bin/sh
# Starts the compose file, waits until the server is healthy, runs the demo
# against it, and takes everything down again, data and all.
#
#   sh deploy/compose.sh
#
# WETSIDE_POSTGRES_IMAGE and WETSIDE_PORT choose the database's image and the
# port, which is a free one otherwise.
set -eu
cd "$(dirname "$0")/.."
. deploy/lib.sh

docker_answers || die "No Docker engine answers."
if docker compose version >/dev/null 2>&1; then
	compose() { docker compose -p wetside-check -f deploy/compose.yaml "$@"; }
elif have docker-compose; then
	compose() { docker-compose -p wetside-check -f deploy/compose.yaml "$@"; }
else
	die "Neither 'docker compose' nor docker-compose is here."
fi

down() { compose down -v --remove-orphans >/dev/null 2>&1 || true; }
trap down EXIT
trap 'exit 130' INT
trap 'exit 143' TERM HUP

sh deploy/image.sh
WETSIDE_PORT=${WETSIDE_PORT:-0} # 0 is a free one
export WETSIDE_PORT
timed "starting PostgreSQL and the server" compose up -d

healthy() {
	tries=0
	until [ "$(docker inspect -f '{{.State.Health.Status}}' "$(compose ps -q api)")" = healthy ]; do
		tries=$((tries + 1))
		[ $tries -lt 120 ] || {
			compose logs --tail 30
			die "The server does not become healthy."
		}
		sleep 0.5
	done
}
timed "waiting until it is healthy" healthy
address=$(compose port api 8080)
timed "living through the demo's weeks" deploy/out/image/wetside demo --url "http://$address"
timed "taking it down" down
