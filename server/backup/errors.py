"""What stops a backup or a restore."""


class BackupError(Exception):
    """Nothing was written or replaced; the message is one or two sentences that say what to do."""
