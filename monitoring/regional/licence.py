"""Under which open licence a region's reports may be used. Of the reports alone: no farm's own figures are in them."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from farms.models import Region


@dataclass(frozen=True)
class Licence:
    """An open licence by its SPDX identifier, its name, and where its text is."""

    spdx: str
    name: str
    url: str


CC_BY = Licence("CC-BY-4.0", "Creative Commons Attribution 4.0", "https://creativecommons.org/licenses/by/4.0/")


def licence_of(region: "Region") -> Licence:
    """The licence of a region's reports: CC BY 4.0, unless its group chose another."""
    return CC_BY
