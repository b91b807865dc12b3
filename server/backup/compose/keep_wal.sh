#!/bin/sh
# PostgreSQL's archive_command: keep_wal.sh %p %f. Puts one finished segment of the write-ahead log into WAL_FOLDER, whole
# or not at all, and never over another: PostgreSQL tries again until this ends with 0, and loses nothing meanwhile.
set -eu
from=$1 to=${WAL_FOLDER:?}/$2
if [ -f "$to" ]; then
    # Sent again after a crash between our answer and PostgreSQL's note of it: the same is well, another is not.
    cmp -s "$from" "$to" && exit 0
    echo "keep_wal: $to is there already and differs: two servers write into one folder." >&2
    exit 1
fi
trap 'rm -f "$to.part"' EXIT
cp "$from" "$to.part"
sync "$to.part"
mv "$to.part" "$to"
sync "$WAL_FOLDER"
