"""One mail an owner: the digests of one recipient and occasion that wait go out as one message, a part a farm.

The rows stay one a farm and recipient, since row security goes by farm. They are joined when they are sent: claimed
together, sent together, recorded together. What comes later, of a farm that had been set aside, goes as its own mail.
"""

import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import override

from alerts.models import Digest
from alerts.models.outbox import Mail, week_of
from alerts.wording.numbers import day_phrase
from farms.showing import showing, shown_to
from monitoring.charts import LIGHT

if TYPE_CHECKING:
    from farms.models import User

# The way out names each farm in one address (alerts.delivery.choice_address), some 640 letters with these; a line of a
# mail may have 998 (RFC 5322, 2.1.1). Whoever owns more farms gets a second message.
MOST_PARTS = 24
CHART_ID = "weeks@flyround"
RULE = "- - -"
# Written by the templates; a farm's name is escaped and can't hold them.
PART = re.compile(r"<!--part-->(.*?)<!--/part-->", re.DOTALL)
SMALL_PRINT = re.compile(r"<!--small-->(.*?)<!--/small-->", re.DOTALL)
TITLE = re.compile(r"<title>.*?</title>", re.DOTALL)
NEXT_PART = '<div class="between" style="margin:48px 0 0;padding:36px 0 0;border-top:1px solid {ink};">{part}</div>'


@dataclass(frozen=True)
class Whole:
    """A message as it goes out; `pictures` are each one's Content-ID and PNG."""

    id: str
    recipient: "User"
    language: str
    subject: str
    text: str
    html: str
    pictures: tuple[tuple[str, bytes], ...]


def claim_together(mail: Digest, is_due: Q, claim: Callable[[Digest], bool]) -> list[Digest]:
    """Claim a digest and the others of its recipient, occasion, language and group that are due; none if it is taken.

    Rows that another worker is just claiming are left to it.
    """
    group = Digest.objects.filter(farm_id=mail.farm_id, id=mail.id).values("farm__group_id")
    same = Digest.objects.filter(
        is_due, recipient_id=mail.recipient_id, occasion=mail.occasion, language=mail.language,
        farm__group_id__in=group,
    )  # fmt: skip
    with transaction.atomic():
        rows = same.select_related("recipient").select_for_update(skip_locked=True, of=("self",)).order_by("id")
        found = {row.id: row for row in rows}
        if mail.id not in found:
            return []
        return [row for row in _message_with(found[mail.id], list(found.values())) if claim(row)]


def _message_with(mail: Digest, rows: Sequence[Digest]) -> Sequence[Digest]:
    """Those of the rows that go out in one message with this one: in fixed lots, so that tried again it is the same."""
    joined = [row for row in rows if can_join(row)]
    if mail not in joined:
        return [mail]
    first = joined.index(mail) // MOST_PARTS * MOST_PARTS
    return joined[first : first + MOST_PARTS]


def whole_of(rows: Sequence[Mail]) -> Whole:
    """The message of one row as it is stored, or of several digests, the most pressing farm's first."""
    digests = [row for row in rows if isinstance(row, Digest)]
    if len(digests) < 2:
        row = rows[0]
        pictures = ((CHART_ID, bytes(row.picture)),) if row.picture else ()
        return Whole(str(row.id), row.recipient, row.language, row.subject, row.text, row.html, pictures)
    ordered = sorted(digests, key=lambda row: (-row.pressing, row.headline, row.id))
    first = ordered[0]
    with override(first.language), showing(shown_to(first.recipient)):
        subject = _subject(ordered)
    return Whole(
        _id_of(ordered), first.recipient, first.language, subject, _text(ordered), _html(ordered, subject),
        tuple((_chart_id(number), bytes(row.picture)) for number, row in enumerate(ordered, 1) if row.picture),
    )  # fmt: skip


def can_join(row: Digest) -> bool:
    """Whether a stored mail can be a part: not one that was written before parts were."""
    return bool(row.headline) and PART.search(row.html) is not None


def _id_of(rows: Sequence[Digest]) -> str:
    """The same for the same parts in any order: sent twice, a mailbox can drop the second."""
    return hashlib.sha256("".join(sorted(row.id.hex for row in rows)).encode()).hexdigest()[:32]


def _subject(rows: Sequence[Digest]) -> str:
    """Hollow Creek: cards over your action level; Sorrel Flats: below your action levels, week of June 29."""
    told = {"first": rows[0].headline, "day": day_phrase(week_of(rows[0].occasion))}
    if len(rows) == 2:
        return _("{first}; {second}, week of {day}").format(second=rows[1].headline, **told)
    return _("{first}; and {n} more farms, week of {day}").format(n=len(rows) - 1, **told)


def _text(rows: Sequence[Digest]) -> str:
    """The parts one after the other, and the small print of all of them once."""
    told, small = [], []
    for row in rows:
        blocks = row.text.rstrip("\n").split("\n\n")
        # What a part says ends with the link to its farm's page.
        end = max(number for number, block in enumerate(blocks) if block.startswith("http")) + 1
        told.append("\n\n".join(blocks[:end]))
        small += blocks[end:]
    return f"\n\n{RULE}\n\n".join(told) + f"\n\n{RULE}\n\n" + "\n\n".join(dict.fromkeys(small)) + "\n"


def _html(rows: Sequence[Digest], subject: str) -> str:
    """The first one's page with the parts of all, each with its own picture, and the small print once."""
    parts = [_part(row.html, number) for number, row in enumerate(rows, 1)]
    small = [line for row in rows for line in _inside(SMALL_PRINT, row.html).split("<br>")]
    page = _with(
        PART, rows[0].html, parts[0] + "".join(NEXT_PART.format(part=part, ink=LIGHT.soft) for part in parts[1:])
    )
    page = _with(SMALL_PRINT, page, "<br>".join(dict.fromkeys(small)))
    return _with(TITLE, page, f"<title>{escape(subject)}</title>")


def _part(html: str, number: int) -> str:
    return _inside(PART, html).replace(f"cid:{CHART_ID}", f"cid:{_chart_id(number)}")


def _chart_id(number: int) -> str:
    name, host = CHART_ID.split("@")
    return f"{name}-{number}@{host}"


def _inside(marks: re.Pattern[str], html: str) -> str:
    found = marks.search(html)
    return found.group(1) if found else ""


def _with(marks: re.Pattern[str], html: str, content: str) -> str:
    return marks.sub(lambda _found: content, html, count=1)
