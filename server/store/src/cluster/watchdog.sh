#!/bin/sh
# Ends the PostgreSQL server of one data folder when standard input ends.
#
#   sh watchdog.sh DATA [FOLDER TO REMOVE]...
#
# holtd alone holds the other end of the pipe: the input ends when holtd lets go of it, or dies in whatever
# way. Then the server is shut down (fast; after 30 s at once), and what it leaves behind is waited for. The
# folders of a cluster made for one run are removed.
#
# Standard output is the lock on the folder, held until this script ends: write nothing to it.
# Exit status: 0 nothing runs any more, 1 something still does.

set -u
trap '' HUP INT TERM
data=$1
shift

# Prints the number of every server process of this folder, children without a parent included. A number in
# a file proves nothing: it may be another's by now.
living() {
    if [ -e /proc/self/cwd ]; then
        for cwd in /proc/[0-9]*/cwd; do
            # shellcheck disable=SC3013 # in POSIX since 2024, in dash, bash and busybox since long before
            [ "$cwd" -ef "$data" ] || continue
            pid=${cwd#/proc/}
            pid=${pid%/cwd}
            read -r name <"/proc/$pid/comm" || continue
            case $name in *postgres*) echo "$pid" ;; esac
        done
    else
        ps -Aww -o pid= -o args= | while read -r pid args; do
            case $args in *"postgres -D $data "*) echo "$pid" ;; esac
        done
    fi
} 2>/dev/null

# Waits until nothing lives any more, for $1 tenths of a second at most.
gone_within() {
    left=$1
    while [ -n "$(living)" ]; do
        [ "$left" -gt 0 ] || return 1
        sleep 0.1 || sleep 1
        left=$((left - 1))
    done
}

read -r _

# Only the postmaster may be told to shut down: to its children the signal means something else.
if read -r pid <"$data/postmaster.pid" && living | grep -qx "$pid"; then
    kill -INT "$pid"
fi 2>/dev/null

gone_within 300 || {
    for pid in $(living); do kill -QUIT "$pid"; done
    gone_within 100
} || exit 1

# An initdb whose parent died may still be writing: it ends within a second or two.
[ $# -eq 0 ] || rm -rf -- "$@" || { sleep 2 && rm -rf -- "$@"; } || :
