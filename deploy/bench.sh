#!/bin/sh
# Measures Wetside on this machine:
#
#   sh deploy/bench.sh planner
#   sh deploy/bench.sh booking [--short]
#
# planner    one line a size of generated weeks (rolls, tanks, sessions;
#            processor time to the first valid plan and to proof; how far off the
#            plan may be after 1, 5 and 30 s; memory) and one line a set of open
#            packing benchmarks, which are read from WETSIDE_BENCH_DATA where that
#            is set. WETSIDE_BENCH_SCALE names other sizes, as rolls:tanks:sessions,…
# booking    bookings and reads under load, beside pgbench with the same
#            statements on the same PostgreSQL, which is a private one with durable
#            settings. --short (some 25 s) only sees that it works. WETSIDE_PROFILE
#            names a file for a processor profile of the server, which then runs
#            within the program that asks it. Needs PostgreSQL's binaries,
#            pgbench among them (PG_BIN_DIR, /usr/lib/postgresql/*/bin, or PATH).
set -eu
cd "$(dirname "$0")/.."
. deploy/lib.sh
need_go

usage() { die "usage: sh deploy/bench.sh planner | booking [--short]"; }

bench_planner() {
	sizes=${WETSIDE_BENCH_SCALE:-40:2:9,80:3:13,200:4:30,1000:8:60}
	go test ./scheduling/planner -count=1 -timeout 1h -run '^TestScale$' -v -scale "$sizes" | grep '^planner '
	go test ./scheduling/planner -count=1 -timeout 2h -run '^TestOpenSets$' -v | grep -v '^\(=== \|PASS\|ok \)'
}

# find_pgbench prints where pgbench is, of the versions installed the newest.
find_pgbench() {
	if [ -n "${PG_BIN_DIR:-}" ]; then
		command -v "$PG_BIN_DIR/pgbench"
		return
	fi
	newest=
	for newest in /usr/lib/postgresql/*/bin/pgbench; do :; done
	command -v "$newest" || command -v pgbench
}

bench_booking() {
	out=$PWD/deploy/out
	mkdir -p "$out"
	CGO_ENABLED=0 go build -o "$out/" ./cmd/wetside ./deploy/trialpg ./deploy/load
	pgbench=$(find_pgbench) || {
		can_install || die "pgbench is missing: it comes with PostgreSQL's programs."
		timed "installing PostgreSQL, for its programs" install_postgresql
		pgbench=$(find_pgbench) || die "PostgreSQL was installed, but pgbench is not to be found."
	}
	data=$(mktemp -d)
	trap 'rm -rf "$data"' EXIT
	trap 'exit 130' INT
	trap 'exit 143' TERM HUP
	chmod 711 "$data" # PostgreSQL does not run as root
	"$out/trialpg" -data "$data/postgresql" "$out/load" -wetside "$out/wetside" -pgbench "$pgbench" \
		${WETSIDE_PROFILE:+-profile "$WETSIDE_PROFILE"} "$@"
}

case ${1:-} in
planner) [ $# -eq 1 ] || usage; bench_planner ;;
booking)
	shift
	case $#${1:-} in
	0) bench_booking ;;
	1--short) bench_booking -short ;;
	*) usage ;;
	esac
	;;
*) usage ;;
esac
