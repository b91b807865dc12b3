#!/bin/sh
# recover.sh "2026-07-06 14:03:00+00" [BASE]: data that a server, once started on it, brings to that moment and opens.
# BASE is a folder of BACKUP_FOLDER, the newest that ended before the moment unless it is named. What was there is kept.
set -eu
moment=${1:?Say the moment, as in: recover.sh "2026-07-06 14:03:00+00"}
folder=${BACKUP_FOLDER:?} data=${PGDATA:?} wal=${WAL_FOLDER:?}
if [ -f "$data/postmaster.pid" ]; then
    echo "recover: a server runs on $data, or was killed there: stop it (or start and stop it) first." >&2
    exit 1
fi
base=${2:-}
if [ -z "$base" ]; then
    limit=base-$(date -u -d "$moment" +%Y%m%dT%H%M%SZ)
    base=$(ls "$folder" | grep '^base-' | sort | awk -v limit="$limit" '$0 < limit' | tail -n 1)
fi
if [ -z "$base" ] || [ ! -d "$folder/$base" ]; then
    echo "recover: $folder has no base backup from before $moment." >&2
    exit 1
fi
umask 077
new=$data.recovering
rm -rf "$new"
cp -a "$folder/$base" "$new"
chmod 700 "$new"
# Until the moment is reached nobody is let in, so that nothing is asked or written on the way.
cat >>"$new/postgresql.auto.conf" <<END
restore_command = 'cp "$wal/%f" "%p"'
recovery_target_time = '$moment'
recovery_target_action = 'promote'
hot_standby = off
END
touch "$new/recovery.signal"
if [ -d "$data" ]; then
    kept=$data.before-$(date -u +%Y%m%dT%H%M%SZ)
    mv "$data" "$kept"
    echo "recover: what was there is kept as $kept."
fi
mv "$new" "$data"
echo "recover: $base is to be brought to $moment: start the server and see its log for 'recovery stopping before'."
