"""What a refusal is of: the address or one mail. Codes of RFC 3463 (Enhanced Mail System Status Codes, 2003)."""

import smtplib
from datetime import UTC, datetime
from typing import Any

import pytest
from anymail.exceptions import AnymailInvalidAddress, AnymailRecipientsRefused, AnymailRequestsAPIError
from anymail.signals import AnymailTrackingEvent

from alerts.delivery.refusals import code_in, is_about_us, is_gone, refusal_of, stop_for, told_of
from alerts.models.outbox import Refusal
from alerts.models.stopped_address import StopReason

ANNA = "anna@example.org"


# RFC 3463, section 3: each code with its own words, shortened, and whether the address itself is what fails.
@pytest.mark.parametrize(
    ("code", "gone"),
    [
        ("5.1.0", True),  # other address status
        ("5.1.1", True),  # bad destination mailbox address
        ("5.1.2", True),  # bad destination system address
        ("5.1.3", True),  # bad destination mailbox address syntax
        ("5.1.4", True),  # destination mailbox address ambiguous
        ("5.1.6", True),  # destination mailbox has moved, no forwarding address
        ("5.1.7", False),  # bad sender's mailbox address syntax
        ("5.1.8", False),  # bad sender's system address
        ("5.1.10", True),  # recipient address has null MX (RFC 7505, 4.2)
        ("5.2.1", True),  # mailbox disabled, not accepting messages
        ("5.2.2", False),  # mailbox full: "persistent transient"
        ("5.2.3", False),  # message length exceeds administrative limit
        ("5.3.4", False),  # message too big for system
        ("5.4.4", False),  # unable to route
        ("5.6.0", False),  # other or undefined media error
        ("5.7.1", False),  # delivery not authorized, message refused: a policy, perhaps against everybody's mail
        ("4.1.1", False),  # class 4: persistent transient failure
        ("4.2.1", False),
    ],
)
def test_an_enhanced_code_says_whether_it_is_the_address(code, gone):
    assert is_gone(f"550 {code}") is is_gone(code) is gone


def test_without_an_enhanced_code_a_reply_of_class_five_is_taken_for_the_address():
    """RFC 5321, 4.2.1: 4yz is transient, 5yz permanent; 550 and 553 to RCPT (4.3.2) are of the mailbox."""
    assert is_gone("550") and is_gone("553") and is_gone("") and not is_gone("450") and not is_gone("421")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("550 5.1.1 <anna@example.org>: Recipient address rejected: User unknown, mx7.example.net", "550 5.1.1"),
        ("smtp;550 5.1.1 The email account that you tried to reach does not exist", "550 5.1.1"),
        ("550 no such user 192.0.2.45 at 5.9.120.3", "550"),
        ("host 198.51.100.5 said 2026-06-01 12:00", ""),
        ("5.2.1", "5.2.1"),
        ("", ""),
    ],
)
def test_of_a_text_the_codes_are_kept_and_nothing_else(text, code):
    assert code_in(text) == code


@pytest.mark.parametrize(
    ("error", "kept"),
    [
        (smtplib.SMTPRecipientsRefused({ANNA: (550, b"5.1.1 secret words")}), "SMTPRecipientsRefused 550 5.1.1"),
        (smtplib.SMTPDataError(554, b"5.7.1 secret words"), "SMTPDataError 554 5.7.1"),
        (smtplib.SMTPServerDisconnected("secret words"), "SMTPServerDisconnected"),
        (AnymailRequestsAPIError("secret words"), "AnymailRequestsAPIError"),
        (TimeoutError("timed out"), "TimeoutError: timed out"),
    ],
)
def test_no_other_machines_words_are_kept(error, kept):
    assert told_of(error) == kept


@pytest.mark.parametrize(
    ("error", "refusal"),
    [
        (smtplib.SMTPRecipientsRefused({ANNA: (550, b"no such user")}), Refusal.ADDRESS),
        (smtplib.SMTPRecipientsRefused({ANNA: (550, b"5.1.1 no such user")}), Refusal.ADDRESS),
        (smtplib.SMTPRecipientsRefused({ANNA: (550, b"5.7.1 you are on a list")}), Refusal.MAIL),
        (smtplib.SMTPRecipientsRefused({ANNA: (554, b"transaction failed")}), Refusal.MAIL),
        (smtplib.SMTPDataError(554, b"not wanted"), Refusal.MAIL),
        (smtplib.SMTPDataError(550, b"5.1.1 after all"), Refusal.MAIL),
        (AnymailRecipientsRefused(), Refusal.ADDRESS),
        (AnymailInvalidAddress("ours, perhaps the sender's"), Refusal.MAIL),
    ],
)
def test_the_recipient_or_this_mail_was_refused(error, refusal):
    assert refusal_of(error) == refusal


@pytest.mark.parametrize(
    ("error", "ours"),
    [
        # RFC 3463, 3.8: security or policy. RFC 5321, 4.2.3: 554 "Transaction failed", 550 "mailbox unavailable".
        (smtplib.SMTPRecipientsRefused({ANNA: (554, b"5.7.1 <anna@example.org>: Relay access denied")}), True),
        (smtplib.SMTPRecipientsRefused({ANNA: (550, b"5.7.0 authenticate first")}), True),
        (smtplib.SMTPRecipientsRefused({ANNA: (554, b"no")}), True),
        (smtplib.SMTPRecipientsRefused({ANNA: (550, b"no such user")}), False),
        (smtplib.SMTPRecipientsRefused({ANNA: (550, b"5.1.1 no such user, see 5.7.1")}), False),
        (smtplib.SMTPRecipientsRefused({ANNA: (554, b"5.2.2 mailbox full")}), False),
        (smtplib.SMTPDataError(554, b"5.7.1 looks like spam"), False),
        (TimeoutError("timed out"), False),
    ],
)
def test_a_recipient_is_refused_for_who_sends(error, ours):
    assert is_about_us(error) is ours


@pytest.mark.parametrize(
    ("event", "stops"),
    [
        ({"event_type": "bounced", "reject_reason": "bounced", "mta_response": "550 5.1.1 gone"}, "bounced"),
        ({"event_type": "bounced", "reject_reason": "bounced"}, "bounced"),
        ({"event_type": "bounced"}, "bounced"),
        ({"event_type": "bounced", "reject_reason": "invalid"}, "bounced"),
        ({"event_type": "bounced", "reject_reason": "bounced", "mta_response": "452 4.2.2 mailbox full"}, None),
        ({"event_type": "bounced", "reject_reason": "bounced", "mta_response": "552 5.2.2 mailbox full"}, None),
        ({"event_type": "bounced", "reject_reason": "blocked", "mta_response": "550 5.7.1 policy"}, None),
        ({"event_type": "bounced", "reject_reason": "timed_out"}, None),
        ({"event_type": "bounced", "reject_reason": "other"}, None),
        ({"event_type": "rejected", "reject_reason": "bounced"}, "bounced"),
        ({"event_type": "rejected", "reject_reason": "spam"}, "complained"),
        ({"event_type": "rejected", "reject_reason": "unsubscribed"}, "left"),
        ({"event_type": "rejected", "reject_reason": "blocked"}, None),
        ({"event_type": "rejected"}, None),
        ({"event_type": "complained"}, "complained"),
        ({"event_type": "unsubscribed"}, "left"),
        *(({"event_type": each}, None) for each in ("delivered", "deferred", "opened", "clicked", "queued", "sent",
                                                    "failed", "autoresponded", "subscribed", "unknown", "inbound")),
    ],
)  # fmt: skip
def test_which_events_of_a_mail_service_stop_an_address(event: dict[str, Any], stops: str | None):
    found = stop_for(AnymailTrackingEvent(recipient=ANNA, timestamp=datetime(2026, 6, 1, tzinfo=UTC), **event))
    assert (found and found[0]) == (stops and StopReason(stops))
