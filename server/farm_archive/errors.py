"""Why an archive is not loaded."""


class ArchiveRefused(Exception):
    """Nothing was stored; the message is a full sentence that says what is wrong and what to do."""
