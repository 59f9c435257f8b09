#!/bin/sh
# Run a command with a private, throw-away PostgreSQL beside it:  sh .ci/postgres.sh COMMAND [WORD ...]
#
# The command finds the server's address in TROD_TEST_POSTGRES_URL. The server listens on loopback alone, on a
# port the system picked, keeps its files in a temporary folder, and is gone when the command ends. Its exit
# status is the command's. `trust` and `fsync=off` are right only here.
set -eu
[ $# -gt 0 ] || { echo "usage: sh .ci/postgres.sh COMMAND [WORD ...]" >&2; exit 2; }

bin=${PGBIN:-}
if [ -z "$bin" ]; then
  for candidate in /usr/lib/postgresql/*/bin; do [ -x "$candidate/initdb" ] && bin=$candidate; done
fi
if [ -z "$bin" ] && command -v initdb >/dev/null; then bin=$(dirname "$(command -v initdb)"); fi
[ -n "$bin" ] || { echo "postgres.sh: no PostgreSQL server found (on Debian: apt install postgresql-15)" >&2; exit 1; }

port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
folder=$(mktemp -d)
as=''
if [ "$(id -u)" = 0 ]; then  # initdb refuses to run as root
  id -u postgres >/dev/null 2>&1 || useradd --system --no-create-home postgres
  chown postgres "$folder"
  as='runuser -u postgres --'
fi

finish() {
  trap - EXIT INT TERM
  cd /
  (cd "$folder" && $as "$bin/pg_ctl" -D "$folder/data" -m immediate -w stop >/dev/null 2>&1) || true
  rm -rf "$folder"
}
trap finish EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

home=$PWD
cd "$folder"
$as "$bin/initdb" -D "$folder/data" -U trod -A trust --locale=C.UTF-8 -E UTF8 --no-sync >/dev/null
options="-p $port -c listen_addresses=127.0.0.1 -c unix_socket_directories= -c fsync=off"
options="$options -c synchronous_commit=off -c full_page_writes=off"
$as "$bin/pg_ctl" -D "$folder/data" -w -l "$folder/log" -o "$options" start >/dev/null || { cat "$folder/log" >&2; exit 1; }
cd "$home"
TROD_TEST_POSTGRES_URL="postgresql://trod@127.0.0.1:$port/postgres" "$@"
