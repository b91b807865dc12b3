"""What a digest says of an adviser who left: once, in the next mail after who would follow was named."""

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _

from alerts.delivery.letter import Paragraph, paragraph
from alerts.models import Digest
from alerts.wording.numbers import day_phrase
from farms.offers import standing_offers

if TYPE_CHECKING:
    from farms.models import AdviserOffer


def offers_not_told(farm_ids: Collection[UUID]) -> dict[UUID, list["AdviserOffer"]]:
    """The offers that wait for a word and that no mail to the farm has told yet. One query, however many farms."""
    since = Digest.objects.filter(farm_id=OuterRef("farm_id"), queued_at__gte=OuterRef("offered_at"))
    found: dict[UUID, list[AdviserOffer]] = {}
    for offer in standing_offers(farm_ids).exclude(Exists(since)):
        found.setdefault(offer.farm_id, []).append(offer)
    return found


def adviser_paragraph(offers: Sequence["AdviserOffer"]) -> Paragraph | None:
    """Your adviser Dana has left. Erik would take over from July 6; you may say no."""
    return paragraph(*(_sentence(offer) for offer in offers)) if offers else None


def _sentence(offer: "AdviserOffer") -> str:
    if offer.successor is None or offer.begins_on is None:
        return _("Your adviser {name} has left. Nobody is named yet to take over.").format(name=offer.left)
    told = {"name": offer.left, "next": offer.successor, "day": day_phrase(offer.begins_on)}
    if offer.begins_by_itself:
        return _("Your adviser {name} has left. {next} would take over from {day}; you may say no.").format(**told)
    words = _("Your adviser {name} has left. {next} would take over from {day}, once you say yes; you may say no.")
    return words.format(**told)
