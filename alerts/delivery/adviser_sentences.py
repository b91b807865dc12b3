"""What a digest says of an adviser who left: once, in the next mail after who would follow was named.

Where that one then began by themselves, as an owner had agreed, the next mail after it says so, and how to end it. The
weekly mail tells it, whose week is shorter than the notice that a coordinator has to give (farms/services/offer.py); a
mail between two Mondays tells nothing of it, and what was not wanted or refused told nobody. Out of season there is no
weekly mail: the line on the farm's page is what tells it until somebody begins, and the season's first mail tells what
holds by then.
"""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Exists, OuterRef
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from alerts.delivery.letter import Paragraph, paragraph
from alerts.models import Digest
from alerts.models.outbox import MIDWEEK, DeliveryState
from alerts.wording.numbers import day_phrase
from alerts.wording.places import and_list
from farms.clock import local_date
from farms.offers import offers_to_tell

if TYPE_CHECKING:
    from farms.models import AdviserOffer


TOLD_NOBODY = (DeliveryState.UNWANTED, DeliveryState.REFUSED)


def offers_not_told(farm_ids: Collection[UUID]) -> dict[UUID, list["AdviserOffer"]]:
    """The offers that wait for a word, or began by themselves, and that no mail to the farm has told yet. One query."""
    offers = offers_to_tell(farm_ids).alias(moment=Coalesce("answered_at", "offered_at"))
    since = Digest.objects.filter(farm_id=OuterRef("farm_id"), queued_at__gte=OuterRef("moment"))
    told = since.exclude(occasion__endswith=MIDWEEK).exclude(state__in=TOLD_NOBODY)
    found: dict[UUID, list[AdviserOffer]] = {}
    for offer in offers.exclude(Exists(told)):
        found.setdefault(offer.farm_id, []).append(offer)
    return found


def adviser_paragraph(offers: Sequence["AdviserOffer"]) -> Paragraph | None:
    """Your adviser Dana has left. Erik would take over from July 6; you may say no."""
    told = [sentence for offer in offers for sentence in (_sentence(offer), _phones(offer))]
    return paragraph(*told) if offers else None


def _sentence(offer: "AdviserOffer") -> str:
    if offer.successor is None or offer.begins_on is None:
        return _("Your adviser {name} has left. Nobody is named yet to take over.").format(name=offer.left)
    if offer.answered_at is not None:
        return _begun(offer, offer.answered_at)
    told = {"name": offer.left, "next": offer.successor, "day": day_phrase(offer.begins_on)}
    if offer.begins_by_itself:
        return _("Your adviser {name} has left. {next} would take over from {day}; you may say no.").format(**told)
    words = _("Your adviser {name} has left. {next} would take over from {day}, once you say yes; you may say no.")
    return words.format(**told)


def _begun(offer: "AdviserOffer", at: datetime) -> str:
    words = _(
        "Your adviser {name} has left. {next} took over on {day}, as the farm had agreed, and sees it. You can end "
        "that at any time, in the farm's settings under “Who may see what”."
    )
    day = day_phrase(local_date(at, offer.farm.time_zone))
    return words.format(name=offer.left, next=offer.successor, day=day)


def _phones(offer: "AdviserOffer") -> str:
    if not offer.phones:
        return ""
    words = _(
        "Farm phones that joined by a code of {name} go on counting: {phones}. Switch off any that you don't know, in "
        "the farm's settings under “Farm phones”."
    )
    return words.format(name=offer.left, phones=and_list(offer.phones))
