"""The open licences among which a group chooses for its region reports.

Identifiers and names are those of the SPDX licence list; the addresses are where each licence's steward publishes it.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Licence:
    """An open licence: its SPDX identifier, its name, and where it can be read."""

    spdx: str
    name: str
    url: str


_OFFERED = (
    Licence(
        "CC-BY-4.0", "Creative Commons Attribution 4.0 International", "https://creativecommons.org/licenses/by/4.0/"
    ),
    Licence(
        "CC-BY-SA-4.0", "Creative Commons Attribution Share Alike 4.0 International",
        "https://creativecommons.org/licenses/by-sa/4.0/",
    ),
    Licence(
        "CC0-1.0", "Creative Commons Zero v1.0 Universal", "https://creativecommons.org/publicdomain/zero/1.0/"
    ),
    Licence(
        "ODbL-1.0", "Open Data Commons Open Database License v1.0", "https://opendatacommons.org/licenses/odbl/1-0/"
    ),
    Licence(
        "ODC-By-1.0", "Open Data Commons Attribution License v1.0", "https://opendatacommons.org/licenses/by/1-0/"
    ),
    Licence(
        "PDDL-1.0", "Open Data Commons Public Domain Dedication & License 1.0",
        "https://opendatacommons.org/licenses/pddl/1-0/",
    ),
)  # fmt: skip
LICENCES = {licence.spdx: licence for licence in _OFFERED}
# What holds where a group has chosen none.
USUAL = LICENCES["CC-BY-4.0"]
LICENCE_CHOICES = [(licence.spdx, licence.name) for licence in _OFFERED]
