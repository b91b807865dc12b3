"""Who is told that a farm went to another group: its other owners, and the advisers who see it no more."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse

from farms.selectors import owners_with_address
from server.web.invitation_mail import name_in_mail
from server.web.templated_mail import post_to_owners_and_advisers


def tell_of_hand_over(request: HttpRequest, done: Any) -> None:
    """One mail each, in the reader's language, when the answer is out. `done`: what was handed over."""
    farm = done.farm
    owners = [each.user for each in owners_with_address([farm.id]) if each.user_id != request.user.id]  # type: ignore[union-attr]
    advisers = [each for each in done.advisers if each.is_active]
    words = {
        "farm": name_in_mail(farm.name),
        "by": name_in_mail(str(request.user)),
        "before": name_in_mail(done.group_before),
        "group": name_in_mail(farm.group.name),
        "address": settings.SITE_URL + reverse("consents", args=[farm.id]),
    }
    post_to_owners_and_advisers(request, "handed_over", owners=owners, advisers=advisers, words=words)
