"""Who is told that a farm is to be erased, or is kept after all: its owners and advisers, when the answer is out."""

from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation

from farms.clock import local_date
from farms.selectors import consents_of, owners_with_address
from server.after_answer import when_answered
from server.web.invitation_mail import name_in_mail


def tell_of_erasure(request: HttpRequest, asked: Any) -> None:
    """Of a wish to erase the farm, or of one that was taken back. One mail each, in the reader's language."""
    farm = asked.farm
    owners = [each.user for each in owners_with_address([farm.id])]
    consents = consents_of(farm).filter(kind="adviser", withdrawn_at__isnull=True)
    advisers = [each.adviser for each in consents if each.adviser and each.adviser.is_active]
    words = {
        "farm": name_in_mail(farm.name),
        "by": name_in_mail(str(request.user)),
        "day": local_date(asked.due_at, farm.time_zone),
        "kept": asked.taken_back_at is not None,
        "address": settings.SITE_URL + reverse("erase_farm", args=[farm.id]),
    }
    for reader in {each.id: each for each in [*owners, *advisers]}.values():
        owns = any(each.id == reader.id for each in owners)
        with translation.override(reader.language):
            subject = " ".join(render_to_string("web/email/erasure_subject.txt", words).split())
            text = render_to_string("web/email/erasure_message.txt", words | {"owns": owns})
        when_answered(request, EmailMessage(subject, text, to=[reader.email]).send)
