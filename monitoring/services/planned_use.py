"""A spray, pour-on or bait that is planned: what must be there, and what is asked first. Nothing is recommended."""

from collections.abc import Sequence
from datetime import date, datetime, time
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from farms.models import Farm
from monitoring.errors import AskedFirst
from monitoring.models import Product
from monitoring.models.application import CertifierSaid
from monitoring.models.planned_work import APPLICATION
from monitoring.models.product import ProductKind
from monitoring.rules.label import choice_faults
from monitoring.rules.stewardship import Use
from monitoring.rules.stewardship_words import sentence_of
from monitoring.selectors.organic import certifier_answer_about, is_organic
from monitoring.selectors.stewardship import Stewardship

USE_UNKNOWN = _("Say what the product is for, or choose it from the group's list. Use one of: {kinds}.")
NO_APPLICATION = _("Only a planned spray, pour-on or bait has a product. Leave this empty for other work.")
PRODUCT_FIRST = _(
    "This farm is kept organic. Choose the product from the group's list, so that the certifier's answer about it can "
    "be looked up."
)
CERTIFIER_FIRST = _(
    "This farm is kept organic, and no answer of the certifier that allows this product is noted. Ask the certifier "
    "and note the answer; then plan it."
)


def use_faults(farm: Farm, kind: str, use_kind: str, product: Product | None, first_day: date) -> list[Detail]:
    """What can't be right about a plan's product; on a farm kept organic it waits for the certifier's yes."""
    if kind != APPLICATION:
        return [Detail("/use_kind", str(NO_APPLICATION), "no_application")] if use_kind or product else []
    faults = choice_faults("use_kind", use_kind, ProductKind.values, USE_UNKNOWN)
    if faults or not is_organic(farm, first_day):
        return faults
    if product is None:
        return [Detail("/product_id", str(PRODUCT_FIRST), "product_missing")]
    answer = certifier_answer_about(farm, product.registration_number, first_day)
    if answer is None or answer.said == CertifierSaid.NOT_ALLOWED:
        return [Detail("/product_id", str(CERTIFIER_FIRST), "certifier_not_asked")]
    return []


def ask_first(
    farm: Farm, use_kind: str, product: Product | None, facility_id: UUID | None, days: Sequence[date]
) -> None:
    """Raise AskedFirst where something is to be thought of before a product is used there on one of these days."""
    groups = frozenset(product.irac_groups) if product else frozenset()
    past, found = Stewardship(farm), []
    # Whatever is done on the same day is thought of too.
    ends = [datetime.combine(day, time.max, ZoneInfo(farm.time_zone)) for day in days]
    for at in ends:
        found += past.before_using(Use(use_kind, groups, facility_id, at))
    warnings = list(dict.fromkeys(found))
    if warnings:
        questions = " ".join(sentence_of(each) for each in warnings)
        raise AskedFirst(questions=questions, warnings=[each.value for each in warnings])
