#!/bin/sh
# A base backup: the files from which a server is brought to any later moment by the segments that keep_wal.sh put away.
# Run as a login that may replicate (the container's superuser, by the socket). It has its name when it was verified.
set -eu
folder=${BACKUP_FOLDER:?}
making=$folder/.base-$$
trap 'rm -rf "$making"' EXIT
pg_basebackup --pgdata "$making" --format plain --wal-method stream --checkpoint fast
pg_verifybackup --quiet "$making"
# Named by its end: only moments after that can be reached from it.
name=base-$(date -u +%Y%m%dT%H%M%SZ)
mv "$making" "$folder/$name"
echo "$folder/$name"
