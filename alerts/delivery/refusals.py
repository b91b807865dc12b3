"""What a refusal says: of the address, so that no mail should follow, or of one mail only.

SMTP's reply codes (RFC 5321, 4.2) and the enhanced status codes of RFC 3463. Of a mail server's answer nothing is kept
but these.
"""

import re
import smtplib
from typing import Any

from anymail.exceptions import AnymailError, AnymailInvalidAddress, AnymailRecipientsRefused
from anymail.signals import EventType, RejectReason

from alerts.models.outbox import Refusal
from alerts.models.stopped_address import StopReason

REPLY = re.compile(r"(?<![.\d])([245]\d\d)(?![.\d])")
STATUS = re.compile(r"(?<![.\d])([245]\.\d{1,3}\.\d{1,3})(?![.\d])")
# RFC 3463, 3.2 and 3.3, and RFC 7505 for 1.10: no such mailbox, no such system, moved, or taking no mail. The others of
# class 5 are about the sender, the mail's size or content, a full mailbox, or a policy that may catch everybody's mail.
GONE = {"1.0", "1.1", "1.2", "1.3", "1.4", "1.6", "1.10", "2.0", "2.1"}
# Of what `told_of` keeps: the mailbox is full or not there for now (RFC 3463, 3.2 and 3.3; without an enhanced code
# RFC 5321, 4.2.3). Class 4's others are of a server, the way to it or a policy, and may hold up everybody's mail.
PUT_OFF_BY_MAILBOX = r"^SMTP(RecipientsRefused|DataError) 4(\d\d 4\.[12]\.\d+|50|52)$"
REJECTED = {
    RejectReason.INVALID: StopReason.BOUNCED,
    RejectReason.BOUNCED: StopReason.BOUNCED,
    RejectReason.SPAM: StopReason.COMPLAINED,
    RejectReason.UNSUBSCRIBED: StopReason.LEFT,
}


def is_permanent(error: Exception) -> bool:
    """Whether the other side refused this mail for good (SMTP 5xx to recipient or content).

    A refused sender or sign-in is a fault of our settings: it would lose everybody's mail, so it is tried again.
    """
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return all(code >= 500 for code, _ in error.recipients.values())
    if isinstance(error, smtplib.SMTPDataError):
        return error.smtp_code >= 500
    return isinstance(error, AnymailRecipientsRefused | AnymailInvalidAddress)


def is_about_us(error: Exception) -> bool:
    """Whether a recipient was refused for who sends: "554 5.7.1 relay access denied" (RFC 3463, 3.8).

    The recipient's own system may mean this one mailbox; our mail server, where it takes no mail from us, says it of
    every recipient, and no code tells the two apart. Of a mail's content nothing is known yet when it is said. A bare
    554 says no more than that it failed (RFC 5321, 4.2.3), so it is of no mailbox either.
    """
    if not isinstance(error, smtplib.SMTPRecipientsRefused):
        return False
    code = code_of(error)
    status = STATUS.search(code)
    return code == "554" if status is None else status[1].startswith("5.7.")


def is_unreachable(error: Exception) -> bool:
    """Whether the mail server itself couldn't be used, so that the rest of the batch waits too."""
    of_server = (smtplib.SMTPConnectError, smtplib.SMTPServerDisconnected, smtplib.SMTPHeloError)
    if isinstance(error, (*of_server, smtplib.SMTPAuthenticationError, smtplib.SMTPNotSupportedError)):
        return True
    return isinstance(error, OSError) and not isinstance(error, smtplib.SMTPException)


def code_in(text: str) -> str:
    """The codes in an answer, as 550 5.1.1; "" where it has none.

    >>> code_in("550 5.1.1 <anna@example.org>: no such user, says 192.0.2.25")
    '550 5.1.1'
    """
    found = (pattern.search(text) for pattern in (REPLY, STATUS))
    return " ".join(each[1] for each in found if each)


def is_gone(code: str) -> bool:
    """Whether a permanent refusal with this code is of the address. Without an enhanced code it is taken to be."""
    status = STATUS.search(code)
    if status is None:
        return not code.startswith("4")
    kind, _dot, detail = status[1].partition(".")
    return kind == "5" and detail in GONE


def code_of(error: Exception) -> str:
    """The codes of an error in sending."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return next((code_in(_answer(*each)) for each in error.recipients.values()), "")
    if isinstance(error, smtplib.SMTPResponseException):
        return code_in(_answer(error.smtp_code, error.smtp_error))
    return ""


def told_of(error: Exception) -> str:
    """What is kept of an error: its kind and code, and its text only where no other machine wrote it."""
    kind = type(error).__name__
    if isinstance(error, smtplib.SMTPException | AnymailError):
        return f"{kind} {code_of(error)}".strip()
    return f"{kind}: {error}"


def refusal_of(error: Exception) -> Refusal:
    """What a permanent refusal is of: the recipient (RCPT, or a mail service's word for it), or this mail."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return Refusal.ADDRESS if is_gone(code_of(error)) and not is_about_us(error) else Refusal.MAIL
    return Refusal.ADDRESS if isinstance(error, AnymailRecipientsRefused) else Refusal.MAIL


def stop_for(event: Any) -> tuple[StopReason, str] | None:
    """Why an event that a mail service reports stops the address, with its code; None for one that doesn't."""
    code = code_in(f"{event.mta_response or ''} {event.description or ''}")
    if event.event_type == EventType.COMPLAINED:
        return StopReason.COMPLAINED, code
    if event.event_type == EventType.UNSUBSCRIBED:
        return StopReason.LEFT, code
    if event.event_type not in (EventType.BOUNCED, EventType.REJECTED):
        return None
    reason = REJECTED.get(event.reject_reason)
    if event.event_type == EventType.BOUNCED and event.reject_reason is None:
        reason = StopReason.BOUNCED
    if reason is None or (reason == StopReason.BOUNCED and not is_gone(code)):
        return None
    return reason, code


def _answer(code: int, text: bytes | str) -> str:
    return f"{code} {text.decode(errors='replace') if isinstance(text, bytes) else text}"
