#!/bin/sh
# Builds the binary and the image of the server.
#
#   sh deploy/image.sh [NAME]      (default wetside:local)
set -eu
cd "$(dirname "$0")/.."
. deploy/lib.sh

image=${1:-wetside:local}
need_go
docker_answers || die "No Docker engine answers."
mkdir -p deploy/out/image
binary() { CGO_ENABLED=0 GOOS=linux go build -trimpath -ldflags='-s -w' -o deploy/out/image/wetside ./cmd/wetside; }
timed "building the binary" binary
timed "building the image $image" docker build -q -f deploy/Dockerfile -t "$image" deploy/out/image
