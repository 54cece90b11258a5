# shellcheck shell=sh
# What the scripts of this folder share; they read it with ". deploy/lib.sh"
# from the top of the repository.

# say prints one line of progress.
say() { printf '%s\n' "$*"; }

# die says what went wrong and ends the script.
die() {
	printf '%s\n' "$*" >&2
	exit 1
}

# have tells whether a command is there.
have() { command -v "$1" >/dev/null 2>&1; }

# need_go ends the script where the go command is not to be had.
need_go() {
	have go || PATH=$PATH:/usr/local/go/bin
	have go || die "The go command is not in PATH. Wetside is built with Go (go.mod says which): https://go.dev/dl/"
	export PATH
}

# timed TEXT COMMAND ... announces a step that may take a while, and how long it took.
timed() {
	say "== $1"
	shift
	timed_from=$(date +%s)
	"$@" || return
	timed_took=$(($(date +%s) - timed_from))
	[ "$timed_took" -lt 1 ] || say "   done in $timed_took s"
}

# docker_answers tells whether a Docker engine can be talked to.
docker_answers() { have docker && docker version >/dev/null 2>&1; }

# as_root runs a command as root, where we are or may become that.
as_root() {
	if [ "$(id -u)" = 0 ]; then
		"$@"
	elif have sudo; then
		sudo "$@"
	else
		return 1
	fi
}

# can_install tells whether install_postgresql can work here.
can_install() { have apt-get && { [ "$(id -u)" = 0 ] || have sudo; }; }

# install_packages installs packages of the distribution, and shows why where it cannot.
install_packages() {
	aptlog=$(mktemp)
	{ as_root apt-get -q update &&
		as_root env DEBIAN_FRONTEND=noninteractive apt-get -qy install --no-install-recommends "$@"; } >"$aptlog" 2>&1 || {
		tail -20 "$aptlog" >&2
		rm -f "$aptlog"
		return 1
	}
	rm -f "$aptlog"
}

# install_postgresql installs the distribution's PostgreSQL, for its programs
# alone: the cluster that the package would make and start is not wanted, so
# the package finds a setting that says so, and its own file afterwards.
install_postgresql() {
	conf=/etc/postgresql-common/createcluster.conf
	ours=
	if [ ! -e $conf ]; then
		ours=yes
		as_root mkdir -p /etc/postgresql-common
		echo 'create_main_cluster = false' | as_root tee $conf >/dev/null
	fi
	aptlog=$(mktemp)
	{ as_root apt-get -q update &&
		as_root env DEBIAN_FRONTEND=noninteractive UCF_FORCE_CONFFOLD=1 apt-get -qy \
			install --no-install-recommends postgresql; } >"$aptlog" 2>&1 || {
		tail -20 "$aptlog" >&2
		rm -f "$aptlog"
		return 1
	}
	rm -f "$aptlog"
	if [ -n "$ours" ] && [ -e $conf.ucf-dist ]; then
		as_root mv -f $conf.ucf-dist $conf
	fi
}
