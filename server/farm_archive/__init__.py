"""Everything of one farm in one file, and from it into an installation that doesn't have it (docs/farm-archive.md)."""

from server.farm_archive.errors import ArchiveRefused
from server.farm_archive.loading import Loaded, load
from server.farm_archive.making import archive_of

__all__ = ["ArchiveRefused", "Loaded", "archive_of", "load"]
