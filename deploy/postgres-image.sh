#!/bin/sh
# Makes a Docker image with PostgreSQL from Debian's or Ubuntu's packages, for
# machines that have a Docker engine and a package mirror but no image registry.
# It behaves like the official image as far as our tests and compose file go.
#
#   sh deploy/postgres-image.sh [NAME]     (default wetside-postgres:local)
#
# Needs root and debootstrap, takes about a minute. Nothing is done where the
# engine has an image of that name already.
set -eu
cd "$(dirname "$0")"
image=${1:-wetside-postgres:local}

if docker image inspect "$image" >/dev/null 2>&1; then
	echo "The image $image is there."
	exit 0
fi
command -v debootstrap >/dev/null || {
	echo "debootstrap is missing: apt-get install debootstrap" >&2
	exit 1
}
[ "$(id -u)" = 0 ] || {
	echo "debootstrap needs root" >&2
	exit 1
}
# shellcheck source=/dev/null
. /etc/os-release
case $ID in
ubuntu) mirror=http://archive.ubuntu.com/ubuntu ;;
*) mirror=http://deb.debian.org/debian ;;
esac
mirror=${DEBOOTSTRAP_MIRROR:-$mirror}

root=$(mktemp -d)
trap 'rm -rf "$root"' EXIT
trap 'exit 130' INT TERM HUP
echo "Unpacking $VERSION_CODENAME with PostgreSQL from $mirror ..."
debootstrap --variant=minbase --include=postgresql "$VERSION_CODENAME" "$root/image" "$mirror" >"$root/log" 2>&1 || {
	tail -20 "$root/log" >&2
	exit 1
}
# The package makes a cluster of its own; the image makes one per container.
rm -rf "$root"/image/var/lib/postgresql/* "$root"/image/var/cache/apt/* "$root"/image/var/lib/apt/lists/*
cp postgres-entrypoint.sh "$root/image/usr/local/bin/entrypoint"
chmod 755 "$root/image/usr/local/bin/entrypoint"
bin=$(cd "$root/image" && ls -d usr/lib/postgresql/*/bin)

echo "Importing it as $image ..."
tar -C "$root/image" -c . | docker import \
	--change 'ENTRYPOINT ["/usr/local/bin/entrypoint"]' \
	--change 'CMD ["postgres"]' \
	--change "ENV PATH=/$bin:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin" \
	--change 'ENV LANG=C.UTF-8' \
	--change 'EXPOSE 5432' \
	--change 'VOLUME /var/lib/postgresql/data' \
	- "$image" >/dev/null
echo "The image $image is made."
