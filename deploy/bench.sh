#!/bin/sh
# Measures Wetside on this machine:
#
#   sh deploy/bench.sh planner
#   sh deploy/bench.sh booking [--short]
#
# planner    one line a size of generated weeks (rolls, tanks, sessions;
#            processor time to the first valid plan and to the proof of each
#            level; how far off the plan may be after 1, 5 and 30 s; memory) and
#            one line a set of open packing benchmarks, all of each, which are read
#            from WETSIDE_BENCH_DATA where that is set. WETSIDE_BENCH_SCALE names
#            other sizes, as rolls:tanks:sessions,… Some five minutes of one core.
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

# measured SED ARGUMENT ... runs tests of the planner and prints what sed makes of
# what they say; where they fail, all of it.
measured() {
	lines=$1
	shift
	log=$(mktemp)
	go test ./scheduling/planner -count=1 -timeout 2h -v "$@" 2>&1 | tee "$log" | sed -n "$lines"
	grep -q '^ok ' "$log" || { # a pipe's end is its last command's
		cat "$log" >&2
		rm -f "$log"
		die "A test of the planner fails."
	}
	rm -f "$log"
}

bench_planner() {
	sizes=${WETSIDE_BENCH_SCALE:-40:2:9,80:3:13,200:4:30,1000:8:60}
	measured '/^planner /p' -run '^TestScale$' -scale "$sizes"
	WETSIDE_BENCH_ALL=yes measured 's/^ *open_sets_test.go:[0-9]*: //p' -run '^TestOpenSets$'
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
