"""Who is told that a farm is to be erased, or is kept after all: its owners and advisers, when the answer is out."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse

from farms.clock import local_date
from farms.selectors import consents_of, owners_with_address
from server.web.invitation_mail import name_in_mail
from server.web.templated_mail import post_to_owners_and_advisers


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
    post_to_owners_and_advisers(request, "erasure", owners=owners, advisers=advisers, words=words)
