"""How a group begins: on a new installation, with its regions and its first coordinator."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext_lazy as _

from farms.constraints import explained
from farms.errors import Conflict, Detail
from farms.models import Group, GroupMember, User
from farms.models.access import GroupRole
from farms.services.farm import place_faults
from farms.services.inviting import address_faults, open_account, refuse
from farms.services.region import make_region


class GroupNameTaken(Conflict):
    code = "group_name_taken"
    message = _("There is a group of that name already. Its coordinators invite further people on the group's page.")


@dataclass(frozen=True)
class NewGroup:
    """A group's name, its time zone as in the IANA database, its language, and its regions' names."""

    name: str
    time_zone: str
    language: str
    regions: Sequence[str] = ()


@transaction.atomic
def begin_group(*, group: NewGroup, email: str, name: str) -> tuple[Group, User]:
    """A new group and its first coordinator. Raises Invalid, GroupNameTaken or what add_region raises."""
    email = email.strip().lower()
    slug = slugify(group.name)[:50]
    wrong = address_faults(email, name, group.language)
    wrong += [each for each in place_faults(slug, group.time_zone, group.language) if each.pointer == "/time_zone"]
    if not slug:
        wrong.append(Detail("/group", str(_("Give the group a name of letters or digits.")), "blank"))
    refuse(wrong)
    with explained({"farms_group_slug_key": GroupNameTaken(pointer="/group")}):
        made = Group.objects.create(
            name=group.name.strip(), slug=slug, time_zone=group.time_zone, language=group.language
        )  # fmt: skip
    for region in group.regions:
        make_region(group=made, name=region)
    user = open_account(email=email, name=name, language=group.language)
    GroupMember.objects.create(group=made, user=user, role=GroupRole.COORDINATOR)
    return made, user
