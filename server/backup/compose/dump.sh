#!/bin/sh
# A dump of the database, by the role that reads everything and writes nothing (PGUSER=flyround_backup).
set -eu
folder=${BACKUP_FOLDER:?}
name=dump-$(date -u +%Y%m%dT%H%M%SZ)
trap 'rm -f "$folder/.$name"' EXIT
umask 077
pg_dump --format custom --compress gzip:4 --file "$folder/.$name"
# A dump that can't be listed can't be restored.
pg_restore --list "$folder/.$name" >/dev/null
mv "$folder/.$name" "$folder/$name"
echo "$folder/$name"
