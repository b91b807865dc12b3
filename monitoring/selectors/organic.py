"""Whether a farm is kept organic, and what its certifier answered."""

from datetime import date

from django.db.models import QuerySet

from farms.models import Farm
from monitoring.models import CertifierAnswer, OrganicMark


def is_organic(farm: Farm, on: date) -> bool:
    """Whether the farm is kept organic on a day: the newest row of the latest day up to it says so."""
    row = organic_marks_of(farm).filter(from_on__lte=on).first()
    return row is not None and row.is_organic


def organic_marks_of(farm: Farm) -> QuerySet[OrganicMark]:
    """All that was marked, the one that holds longest first."""
    return OrganicMark.objects.filter(farm_id=farm.id).order_by("-from_on", "-recorded_at", "-id")


def certifier_answers_of(farm: Farm) -> QuerySet[CertifierAnswer]:
    """All that the certifier answered, newest first."""
    return CertifierAnswer.objects.filter(farm_id=farm.id).order_by("-answered_on", "-recorded_at", "-id")


def certifier_answer_about(farm: Farm, registration_number: str, on: date) -> CertifierAnswer | None:
    """The answer about a product that held on a day: the newest one given by then, else the first given later.

    A product is known by its registration number however it is spaced or written.
    """
    wanted = _plain(registration_number)
    answers = [row for row in certifier_answers_of(farm) if _plain(row.registration_number) == wanted]
    return next((row for row in answers if row.answered_on <= on), answers[-1] if answers else None)


def _plain(number: str) -> str:
    return "".join(number.split()).casefold()
