#!/bin/sh
# Takes away what is older than the newest KEEP_BASES base backups and KEEP_DUMPS dumps, and the segments before the oldest
# base that stays. What was erased in the service lives on here until then.
set -eu
folder=${BACKUP_FOLDER:?} wal=${WAL_FOLDER:?}
# beyond NUMBER: all lines but the last NUMBER, which are the newest, since their names sort by time.
beyond() { sort -r | tail -n +"$(($1 + 1))"; }
# What a backup left that was stopped half-way.
find "$folder" -maxdepth 1 \( -name '.base-*' -o -name '.dump-*' \) -mtime +7 -exec rm -rf {} +
ls "$folder" | grep '^dump-' | beyond "${KEEP_DUMPS:-14}" | while read -r name; do rm -f "$folder/$name"; done
ls "$folder" | grep '^base-' | beyond "${KEEP_BASES:-3}" | while read -r name; do rm -rf "${folder:?}/$name"; done
oldest=$(ls "$folder" | grep '^base-' | head -n 1 || true)
[ -n "$oldest" ] || exit 0
# backup_label's first line: START WAL LOCATION: 0/2000028 (file 000000010000000000000002)
first=$(sed -n 's/^START WAL LOCATION: .*(file \([0-9A-F]*\)).*/\1/p' "$folder/$oldest/backup_label")
pg_archivecleanup "$wal" "$first"
