"""A stored mail as a MIME message: plain text and HTML as alternatives, charts beside them by Content-ID."""

from collections.abc import Sequence
from datetime import datetime
from email.mime.image import MIMEImage
from email.utils import format_datetime
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMultiAlternatives

from alerts.delivery.choice_address import choice_address, choice_page
from alerts.delivery.parts import whole_of
from alerts.models.outbox import Mail


class RelatedMessage(EmailMultiAlternatives):
    """multipart/related: the alternatives first, then the picture that the HTML names."""

    mixed_subtype = "related"


def message_of(rows: Sequence[Mail], *, now: datetime) -> RelatedMessage:
    """The message of one row of the outbox, or of one recipient's digests.

    Sent twice it has one Message-ID, so that a mailbox can drop the second.
    """
    whole, secret = whole_of(rows), choice_address(rows, now)
    message = RelatedMessage(
        subject=" ".join(whole.subject.split()),
        body=whole.text.replace(choice_page(), secret),
        to=[whole.recipient.email],
        headers={
            "Message-ID": f"<{whole.id}@{urlsplit(settings.SITE_URL).hostname or 'localhost'}>",
            "Date": format_datetime(now),
            "Content-Language": whole.language,
            "Auto-Submitted": "auto-generated",
            **way_out(secret),
        },
    )
    message.attach_alternative(whole.html.replace(choice_page(), secret), "text/html")
    for content_id, png in whole.pictures:
        message.attach(_picture(content_id, png))
    return message


def way_out(address: str) -> dict[str, str]:
    """The headers by which a mail program stops a mail with one click (RFC 8058, 3.1): over HTTPS only."""
    headers = {"List-Unsubscribe": f"<{address}>"}
    if settings.SECURE:
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    return headers


def _picture(content_id: str, png: bytes) -> MIMEImage:
    picture = MIMEImage(png, "png")
    picture.add_header("Content-ID", f"<{content_id}>")
    picture.add_header("Content-Disposition", "inline", filename=f"{content_id.partition('@')[0]}.png")
    return picture
