"""A mail of two templates, subject and message, in its reader's language, sent when the answer is out."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.mail import EmailMessage
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils import translation

from server.after_answer import when_answered


def post(request: HttpRequest, name: str, *, to: str, language: str, words: Mapping[str, Any]) -> None:
    """Write `web/email/<name>_subject.txt` and `_message.txt` now, and send them to one address."""
    with translation.override(language):
        subject = " ".join(render_to_string(f"web/email/{name}_subject.txt", dict(words)).split())
        text = render_to_string(f"web/email/{name}_message.txt", dict(words))
    when_answered(request, EmailMessage(subject, text, to=[to]).send)


def post_to_owners_and_advisers(
    request: HttpRequest, name: str, *, owners: Sequence[Any], advisers: Sequence[Any], words: Mapping[str, Any]
) -> None:  # fmt: skip
    """One mail each, whoever is both; `owns` says to the templates whether the reader owns the farm."""
    own = {each.id for each in owners}
    for reader in {each.id: each for each in [*owners, *advisers]}.values():
        told = {**words, "owns": reader.id in own}
        post(request, name, to=reader.email, language=reader.language, words=told)
