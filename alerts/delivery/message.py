"""A stored mail as a MIME message: plain text and HTML as alternatives, the chart beside them by its Content-ID."""

from datetime import datetime
from email.mime.image import MIMEImage
from email.utils import format_datetime
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMultiAlternatives

from alerts.models import Digest, MondayList

CHART_ID = "weeks@flyround"


class RelatedMessage(EmailMultiAlternatives):
    """multipart/related: the alternatives first, then the picture that the HTML names."""

    mixed_subtype = "related"


def message_for(row: Digest | MondayList, *, now: datetime) -> RelatedMessage:
    """The message of a row of the outbox. Sent twice it has one Message-ID, so that a mailbox can drop the second."""
    message = RelatedMessage(
        subject=" ".join(row.subject.split()),
        body=row.text,
        to=[row.recipient.email],
        headers={
            "Message-ID": f"<{row.id}@{urlsplit(settings.SITE_URL).hostname or 'localhost'}>",
            "Date": format_datetime(now),
            "Content-Language": row.language,
            "Auto-Submitted": "auto-generated",
        },
    )
    message.attach_alternative(row.html, "text/html")
    if row.picture:
        message.attach(_picture(bytes(row.picture)))
    return message


def _picture(png: bytes) -> MIMEImage:
    picture = MIMEImage(png, "png")
    picture.add_header("Content-ID", f"<{CHART_ID}>")
    picture.add_header("Content-Disposition", "inline", filename="weeks.png")
    return picture
