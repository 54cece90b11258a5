#!/bin/sh
# Entrypoint of the image that postgres-image.sh makes. It takes the same
# environment as the official postgres image, so that the same tests and the
# same compose file run on both: POSTGRES_USER, POSTGRES_PASSWORD, POSTGRES_DB,
# PGDATA; and the same command: postgres and its options.
set -eu

PGDATA=${PGDATA:-/var/lib/postgresql/data}
export PGDATA
user=${POSTGRES_USER:-postgres}
db=${POSTGRES_DB:-$user}

case ${1:-postgres} in
-*) set -- postgres "$@" ;;
postgres) [ $# -gt 0 ] || set -- postgres ;;
*) exec "$@" ;;
esac

if [ "$(id -u)" = 0 ]; then
	mkdir -p "$PGDATA" /run/postgresql
	chown postgres: "$PGDATA" /run/postgresql
	chmod 700 "$PGDATA"
	exec setpriv --reuid postgres --regid postgres --init-groups "$0" "$@"
fi

if [ ! -s "$PGDATA/PG_VERSION" ]; then
	if [ -z "${POSTGRES_PASSWORD:-}" ]; then
		echo "set POSTGRES_PASSWORD to a password for the database's superuser" >&2
		exit 1
	fi
	secret=$(mktemp)
	printf '%s\n' "$POSTGRES_PASSWORD" >"$secret"
	initdb -U "$user" --pwfile="$secret" -A scram-sha-256 --auth-local=trust -E UTF8 --locale=C.UTF-8
	rm -f "$secret"
	echo "host all all all scram-sha-256" >>"$PGDATA/pg_hba.conf"
	# On the socket file alone, so that nobody meets a server without its database.
	pg_ctl -w -o "-c listen_addresses=''" start
	[ "$db" = postgres ] || createdb -U "$user" "$db"
	pg_ctl -w -m fast stop
fi

shift
exec postgres -c "listen_addresses=*" "$@"
