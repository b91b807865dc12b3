#!/bin/sh
# The service `backups` of the Compose file: a dump each day, a base backup each week, and tidy up. What fails is said and
# tried again an hour later; the service's health turns bad when no dump came for 26 hours (docs/backup.md).
set -u
here=$(dirname "$0")
# younger KIND MINUTES: whether one is there that is younger.
younger() { [ -n "$(find "${BACKUP_FOLDER:?}" -maxdepth 1 -name "$1-*" -mmin "-$2")" ]; }
umask 077
while :; do
    younger dump 1430 || "$here/dump.sh" || echo "keep: the dump failed." >&2
    younger base 10070 || PGUSER=postgres "$here/base.sh" || echo "keep: the base backup failed." >&2
    "$here/tidy.sh" || echo "keep: tidying up failed." >&2
    [ -z "${ONCE:-}" ] || exit 0
    sleep 3600 & wait $!
done
