"""Applications as they are read: which stand, whose names, what a label still withholds."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import BooleanField, Exists, OuterRef, Q, QuerySet, Subquery

from farms.lookups import array_of
from farms.models import Farm
from monitoring.models import Application, ApplicationCheck, ApplicationPeople
from monitoring.rules.application import CLOCKS_DIFFER


def applications_of(farm: Farm) -> QuerySet[Application]:
    """Every record, newest first: `replaced` where a later one took its place, `confirmed` what the farm said of one
    that a hired sprayer filled in (None: nothing yet).
    """
    rows = Application.objects.filter(farm_id=farm.id).select_related("facility", "reentry", "certifier_answer")
    confirmed = Subquery(_said().values("confirmed")[:1], output_field=BooleanField())
    return rows.annotate(replaced=_later(), confirmed=confirmed).order_by("-begins_at", "-id")


def standing_applications_of(farm: Farm) -> QuerySet[Application]:
    """Those that hold: not replaced, and not said by the farm to be not so."""
    return _standing(applications_of(farm))


def standing_rows(using: str = "default") -> QuerySet[Application]:
    """As `standing_applications_of`, of every farm that may be read, and without what is beside a row."""
    return _standing(Application.objects.using(using).all())


def waiting_applications_of(farm: Farm) -> QuerySet[Application]:
    """Those that a hired sprayer filled in and nobody of the farm has said anything to."""
    return standing_applications_of(farm).filter(~Exists(_said()), through_link=True)


def people_of(applications: Iterable[Application]) -> dict[UUID, ApplicationPeople]:
    """The names of these applications, by its id; none for a key, and none where they were erased."""
    rows = list(applications)
    if not rows:
        return {}
    found = ApplicationPeople.objects.filter(
        farm_id__any_of=array_of({row.farm_id for row in rows}), application_id__any_of=array_of(row.id for row in rows)
    )
    return {row.application_id: row for row in found}


def check_of(application: Application) -> ApplicationCheck | None:
    return ApplicationCheck.objects.filter(farm_id=application.farm_id, application_id=application.id).first()


def replaced_applications(application: Application) -> list[Application]:
    """What stood before a record, newest first, each replaced by the one before it in the list."""
    found = []
    before = application.replaces
    while before is not None:
        found.append(before)
        before = before.replaces
    return found


def withholding(farm: Farm, at: datetime, about: timedelta = timedelta(0)) -> QuerySet[Application]:
    """Those whose label withholds milk or meat at a moment, or did shortly before, newest first."""
    begun = standing_applications_of(farm).filter(begins_at__lte=at + CLOCKS_DIFFER)
    return begun.filter(Q(milk_until__gt=at - about) | Q(meat_until__gt=at - about))


def withheld_at(farm: Farm, at: datetime, about: timedelta = timedelta(0)) -> list[Application]:
    """The same, that which ends last first."""
    return sorted(withholding(farm, at, about), key=lambda row: max(_ends(row)), reverse=True)


def _ends(row: Application) -> list[datetime]:
    return [moment for moment in (row.milk_until, row.meat_until) if moment is not None]


def _standing(rows: QuerySet[Application]) -> QuerySet[Application]:
    return rows.filter(~_later(), ~Exists(_said().filter(confirmed=False)))


def _later() -> Exists:
    return Exists(Application.objects.filter(farm_id=OuterRef("farm_id"), replaces_id=OuterRef("id")))


def _said() -> QuerySet[ApplicationCheck]:
    return ApplicationCheck.objects.filter(farm_id=OuterRef("farm_id"), application_id=OuterRef("id"))
