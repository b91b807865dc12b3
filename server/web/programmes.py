"""Releases of wasps that belong together as one thing: a line of the list, a band on the chart."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any
from uuid import UUID

from monitoring.selectors.programmes import Programme, gathered
from server.web.works import WorkLine, work_lines

if TYPE_CHECKING:
    from monitoring.models import Work


@dataclass(frozen=True)
class ShownWork:
    """A line of the list of work: one work, or a programme of releases with what followed it."""

    line: WorkLine
    programme: Programme

    @property
    def work(self) -> "Work":
        return self.line.work


def shown_works(
    farm: Any, works: Sequence["Work"], today: date, facilities: Mapping[UUID, Any] | None = None, most: int = 0
) -> list[ShownWork]:
    """The works, newest first, a programme once by its last release; the first `most` of them, where that is given."""
    programmes = gathered(works)
    programmes = programmes[:most] if most else programmes
    lines = work_lines(farm, [each.last for each in programmes], today, facilities)
    return [ShownWork(line, each) for line, each in zip(lines, programmes, strict=True)]
