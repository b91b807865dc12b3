"""The people who count, who need no account."""

from datetime import datetime

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail, Invalid
from farms.models import Farm, Person, User

LONGEST_INITIALS = 6


def add_person(*, farm: Farm, name: str, initials: str, user: User | None = None, now: datetime) -> Person:
    """Add somebody to the names that are offered for "counted by". Raises Invalid."""
    values = _checked(name, initials)
    return Person.objects.create(farm=farm, user=user, made_at=now, **values)


def rename_person(*, person: Person, name: str, initials: str) -> Person:
    """Write somebody's name or initials otherwise; what they counted holds an id only. Raises Invalid."""
    values = _checked(name, initials)
    Person.objects.filter(farm_id=person.farm_id, id=person.id).update(**values)
    person.name, person.initials = values["name"], values["initials"]
    return person


def end_person(*, person: Person, now: datetime) -> Person:
    """Offer somebody's name no longer; what they counted stays as it is. A second time changes nothing."""
    Person.objects.filter(farm_id=person.farm_id, id=person.id, ended_at__isnull=True).update(ended_at=now)
    person.refresh_from_db(fields=["ended_at"])
    return person


def _checked(name: str, initials: str) -> dict[str, str]:
    name, initials = name.strip(), initials.strip()
    wrong = []
    if not name:
        wrong.append(Detail("/name", str(_("Give the name that the farm uses.")), "blank"))
    if not 1 <= len(initials) <= LONGEST_INITIALS:
        wrong.append(Detail("/initials", str(_("Give one to six letters.")), "initials_length"))
    if wrong:
        raise Invalid(errors=wrong)
    return {"name": name, "initials": initials}
