"""A new dairy: registered by a coordinator of its group, with its first owner."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID
from zoneinfo import available_timezones

from django.db import connection
from django.utils.translation import gettext_lazy as _

from farms.access import group_for
from farms.constraints import explained
from farms.errors import Conflict, Detail, Forbidden, Invalid
from farms.ids import uuid7
from farms.models import Farm, Group, Holding, Region, User
from farms.models.access import GroupRole
from farms.models.group import LANGUAGES


class FarmNameTaken(Conflict):
    code = "farm_name_taken"
    message = _("This holding already has a farm of that name. Choose another name.")


class FarmAlreadyRegistered(Conflict):
    code = "farm_already_registered"
    message = _("A farm with this id is already registered. Send a new id for a new farm.")


@dataclass(frozen=True)
class NewFarm:
    """What a coordinator says about a new farm. `time_zone` as in the IANA database, `language` en or es."""

    group: Group
    region: Region
    holding: Holding
    name: str
    time_zone: str
    language: str
    id: UUID | None = None


def register_farm(*, by: User, farm: NewFarm, owner: User, now: datetime) -> Farm:
    """Register a farm through the definer function, as no member could yet let anybody in.

    `by` must be the acting user. Raises Missing or Forbidden (not a coordinator of the group), Invalid, FarmNameTaken
    and FarmAlreadyRegistered. The coordinator sees nothing of the farm by it.
    """
    group_for(by, farm.group.id, role=GroupRole.COORDINATOR)
    _check(farm)
    made = _row(farm)
    errors = {"farm_name_once_in_holding": FarmNameTaken(), "farms_farm_pkey": FarmAlreadyRegistered()}
    with explained(errors), connection.cursor() as cursor:
        cursor.execute(
            "SELECT register_farm(%s, %s, %s, %s, %s, %s, %s, %s, %s, %s)",
            [made.id, farm.group.id, farm.region.id, farm.holding.id, made.name, farm.time_zone, farm.language,
             owner.id, uuid7(), now],
        )  # fmt: skip
        done = cursor.fetchone()
    if done != (True,):
        raise Forbidden()
    return made


def _check(farm: NewFarm) -> None:
    wrong = place_faults(farm.name, farm.time_zone, farm.language)
    if farm.region.group_id != farm.group.id:
        wrong.append(Detail("/region", str(_("Choose a region of this group.")), "other_group"))
    if farm.holding.group_id != farm.group.id:
        wrong.append(Detail("/holding", str(_("Choose a holding of this group.")), "other_group"))
    if wrong:
        raise Invalid(errors=wrong)


def place_faults(name: str, time_zone: str, language: str) -> list[Detail]:
    """What is wrong with a farm's name, time zone and language."""
    wrong = []
    if not name.strip():
        wrong.append(Detail("/name", str(_("Give the farm a name.")), "blank"))
    if time_zone not in available_timezones():
        sentence = _("Name the time zone as the IANA database does, for example America/Chicago.")
        wrong.append(Detail("/time_zone", str(sentence), "unknown_time_zone"))
    if language not in dict(LANGUAGES):
        wrong.append(Detail("/language", str(_("Choose en or es.")), "unknown_language"))
    return wrong


def _row(farm: NewFarm) -> Farm:
    """The farm as it is stored: its coordinator may not read it back."""
    values = {
        "id": farm.id or uuid7(), "group_id": farm.group.id, "region_id": farm.region.id,
        "holding_id": farm.holding.id, "name": farm.name.strip(), "time_zone": farm.time_zone,
        "language": farm.language,
    }  # fmt: skip
    return Farm.from_db("default", list(values), list(values.values()))


def change_farm(*, farm: Farm, name: str, language: str, time_zone: str | None = None) -> Farm:
    """Give a farm another name or language, or, before its first round, time zone. Raises Invalid or FarmNameTaken.

    The caller knows whether there was a round: weeks and days of counts are told by the zone that held for them.
    """
    zone = farm.time_zone if time_zone is None else time_zone
    wrong = place_faults(name, zone, language)
    if wrong:
        raise Invalid(errors=wrong)
    values = {"name": name.strip(), "language": language, "time_zone": zone}
    with explained({"farm_name_once_in_holding": FarmNameTaken(pointer="/name")}):
        Farm.objects.filter(id=farm.id).update(**values)
    farm.name, farm.language, farm.time_zone = name.strip(), language, zone
    return farm
