#!/bin/sh
# All checks of Wetside: gofmt, go vet, staticcheck, gosec, the tests with the race
# detector, the tests with their coverage, fuzzing of chemistry's parsers and
# of planning with 50,000 tries each (WETSIDE_FUZZ_TRIES: so many), and govulncheck.
#
#   sh deploy/test.sh [PACKAGE ...]      (default ./...)
#
# Needs Go, and PostgreSQL in some form: the server that
# WETSIDE_TEST_DATABASE_URL names, a Docker engine that has or can pull the
# image WETSIDE_TEST_POSTGRES_IMAGE, or PostgreSQL's binaries. On Debian and
# Ubuntu the last are installed where there is nothing else.
set -eu
cd "$(dirname "$0")/.."
. deploy/lib.sh

STATICCHECK=honnef.co/go/tools/cmd/staticcheck@v0.8.2
GOVULNCHECK=golang.org/x/vuln/cmd/govulncheck@v1.9.0
# gosec 2.20 is the last that brings no clients of language models along; it
# reads what today's Go compiles once it is built with a newer x/tools.
GOSEC=github.com/securego/gosec/v2/cmd/gosec@v2.20.0
GOSEC_TOOLS=golang.org/x/tools@v0.52.0

need_go
[ $# -gt 0 ] || set -- ./...
out=$PWD/deploy/out
mkdir -p "$out"

# The steps below run where a failure does not end the script by itself (timed
# looks at their status), so each says where to return.
formatted() {
	unformatted=$(gofmt -l .) || return
	[ -z "$unformatted" ] || {
		say "gofmt would change:
$unformatted"
		return 1
	}
}

# tool PACKAGE@VERSION builds a tool from its pinned version, once.
tool() { GOBIN=$out/bin go install "$1"; }

lint() {
	tool $STATICCHECK || return
	"$out/bin/staticcheck" -checks all "$@"
}

vulnerabilities() {
	tool $GOVULNCHECK || return
	if "$out/bin/govulncheck" "$@" >"$out/govulncheck.txt" 2>&1; then
		say "   no known vulnerability is called"
	elif grep -q 'vulnerabilities: Get\|vuln.go.dev.*\(dial\|timeout\|refused\|no such host\|Forbidden\)' "$out/govulncheck.txt"; then
		say "   NOT CHECKED: the vulnerability database cannot be reached from here"
	else
		cat "$out/govulncheck.txt"
		return 1
	fi
}

# weaknesses looks for what gosec knows. Not asked for: unhandled errors, which
# staticcheck and vet see to (G104); HTML that is made, by code of ours alone, of
# the contract (G203); programs, files and their modes that whoever runs the
# command names (G204, G304, G306).
weaknesses() {
	mkdir -p "$out/gosec"
	if ! (cd "$out/gosec" && { [ -f go.mod ] || go mod init gosec; } &&
		go get $GOSEC $GOSEC_TOOLS && GOBIN=$out/bin go install "${GOSEC%@*}") >"$out/gosec.txt" 2>&1; then
		cat "$out/gosec.txt"
		return 1
	fi
	"$out/bin/gosec" -quiet -exclude G104,G203,G204,G304,G306 "$@"
}

# coverage adds up, for each package, the statements that any test reached.
coverage() {
	awk 'NR > 1 {
		statements[$1] = $2
		if ($3 > 0) reached[$1] = 1
	}
	END {
		for (block in statements) {
			package = block
			sub(/\/[^\/]*$/, "", package)
			all[package] += statements[block]; sum += statements[block]
			if (block in reached) { hit[package] += statements[block]; hits += statements[block] }
		}
		for (package in all) printf "   %5.1f %%  %s\n", 100 * hit[package] / all[package], package | "sort -k3"
		close("sort -k3")
		if (sum) printf "   %5.1f %%  of all statements\n", 100 * hits / sum
	}' "$out/cover.out"
}

failed=
# check NAME COMMAND ... goes on after a failure, so that one run shows them all.
check() {
	timed "$@" || {
		say "   FAILED: $1"
		failed="$failed; $1"
	}
}

check "gofmt" formatted
check "go vet" go vet "$@"
check "staticcheck" lint "$@"
check "gosec" weaknesses "$@"

timed "building withpg" go build -o "$out/withpg" ./deploy/withpg
if [ -z "${WETSIDE_TEST_DATABASE_URL:-}" ] && ! "$out/withpg" true 2>"$out/withpg.txt"; then
	can_install || die "$(cat "$out/withpg.txt")"
	timed "installing PostgreSQL, for there is neither a server nor an image" install_postgresql
fi

# The export of the books is read by another program, of the same kind and not ours.
if ! have hledger && [ "${WETSIDE_TEST_WITHOUT_HLEDGER:-}" != yes ]; then
	can_install || die "hledger is missing: install it, or set WETSIDE_TEST_WITHOUT_HLEDGER=yes to leave the export unchecked"
	timed "installing hledger, which reads the books that the tests export" install_packages hledger
fi

# The planner's plans are held against what a solver, not ours, finds best.
if ! have minizinc && [ "${WETSIDE_TEST_WITHOUT_MINIZINC:-}" != yes ]; then
	can_install || die "minizinc is missing: install it, or set WETSIDE_TEST_WITHOUT_MINIZINC=yes to leave the planner without its referee"
	timed "installing minizinc, whose solver referees the planner" install_packages minizinc
fi

# Calendars are read by another program too.
if ! /usr/bin/python3 -c 'import icalendar' 2>/dev/null && [ "${WETSIDE_TEST_WITHOUT_ICALENDAR:-}" != yes ]; then
	can_install || die "python3-icalendar is missing: install it, or set WETSIDE_TEST_WITHOUT_ICALENDAR=yes to leave calendars unchecked"
	timed "installing python3-icalendar, which reads the calendars that the tests write" install_packages python3-icalendar
fi

# tests OPTIONS PACKAGE ... leaves out what a package's tests reach of the whole
# program, which go test puts on each line; coverage sums that up better.
tests() {
	rm -f "$out/test.status"
	{
		"$out/withpg" go test -shuffle=on -count=1 -timeout 45m "$@" 2>&1
		echo $? >"$out/test.status"
	} | sed 's/[[:space:]]*coverage: .*//'
	return "$(cat "$out/test.status")"
}

# Two runs, because counting statements under the race detector makes the
# search for plans several times slower than either does alone.
if [ "$(go env CGO_ENABLED)" = 1 ] && have "$(go env CC)"; then
	check "go test -race" tests -race "$@"
else
	say "-- no C compiler here: the tests run WITHOUT the race detector"
fi
check "go test -cover" tests -coverpkg=./... -coverprofile="$out/cover.out" "$@"
check "coverage" coverage

# fuzz PACKAGE TARGET tries what a target tests on so much made-up input. Not for so
# long: at the end of a time Go up to 1.26 may call a try under way a failure
# (go.dev/issue/75804).
fuzz() { go test "$1" -run '^$' -fuzz "^$2\$" -fuzztime "${WETSIDE_FUZZ_TRIES:-50000}x" -fuzzminimizetime 20x; }
case " $* " in
*" ./... "* | *" ./chemistry "*)
	check "fuzzing processes" fuzz ./chemistry FuzzProcess
	check "fuzzing kits" fuzz ./chemistry FuzzKit
	;;
esac
case " $* " in
*" ./... "* | *" ./scheduling/planner/checker "*)
	check "fuzzing planning" fuzz ./scheduling/planner/checker FuzzSolve
	;;
esac
check "govulncheck" vulnerabilities "$@"
[ -z "$failed" ] || die "Failed: ${failed#; }"
say "All checks passed."
