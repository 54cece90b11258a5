#!/bin/sh
# Measures. "bench.sh planner" prints one line a size of generated weeks (rolls,
# tanks, sessions; processor time to the first valid plan and to proof; how far
# off the plan may be after 1, 5 and 30 s; memory) and one line a set of open
# packing benchmarks, which are read from WETSIDE_BENCH_DATA where that is set.
# WETSIDE_BENCH_SCALE names other sizes, as rolls:tanks:sessions,…
set -eu
cd "$(dirname "$0")/.."
. deploy/lib.sh
need_go

bench_planner() {
	sizes=${WETSIDE_BENCH_SCALE:-40:2:9,80:3:13,200:4:30,1000:8:60}
	go test ./scheduling/planner -count=1 -timeout 1h -run '^TestScale$' -v -scale "$sizes" | grep '^planner '
	go test ./scheduling/planner -count=1 -timeout 2h -run '^TestOpenSets$' -v | grep -v '^\(=== \|PASS\|ok \)'
}

case ${1:-} in
planner) bench_planner ;;
*) die "usage: deploy/bench.sh planner" ;;
esac
