"""Everything that an installation keeps, in one file, and back from it: `manage.py backup`, `manage.py restore`.

All that must be kept stands in the database, pictures and scans too; docs/backup.md says which keys lie outside it
and why.
"""

from server.backup.archive import Manifest, Opened, opened
from server.backup.errors import BackupError
from server.backup.login import Login, backup_login, superuser_login
from server.backup.restoring import Wish, restore
from server.backup.taking import sha256_of, take

__all__ = [
    "BackupError",
    "Login",
    "Manifest",
    "Opened",
    "Wish",
    "backup_login",
    "opened",
    "restore",
    "sha256_of",
    "superuser_login",
    "take",
]
