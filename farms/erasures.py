"""What waits to be erased, as the farm's people and a person themself may read it."""

from collections.abc import Collection
from uuid import UUID

from django.db.models import QuerySet

from farms.models import AccountErasure, ErasureRequest, Farm, Membership, Person, User
from farms.models.access import FarmRole
from farms.models.erasure import WAITS


def waiting_erasures(farm_id: UUID) -> QuerySet[ErasureRequest]:
    """All that waits on a farm: of the farm itself and of people who count there."""
    return ErasureRequest.objects.filter(WAITS, farm_id=farm_id).select_related("farm").order_by("due_at", "id")


def farm_erasure_of(farm: Farm) -> ErasureRequest | None:
    """The wish that the whole farm be erased, where one waits."""
    return waiting_erasures(farm.id).filter(person_id__isnull=True).select_related("farm", "asked_by").first()


def names_of_people(farm: Farm, person_ids: Collection[UUID]) -> dict[UUID, str]:
    """What people who count on a farm are called, those who are off the list too."""
    return dict(Person.objects.filter(farm_id=farm.id, id__in=person_ids).values_list("id", "name"))


def erasures_of(farm: Farm) -> QuerySet[ErasureRequest]:
    """Everything that was asked for on a farm, the newest first."""
    return ErasureRequest.objects.filter(farm_id=farm.id).select_related("farm").order_by("-asked_at", "-id")


def waiting_account_erasure(user: User) -> AccountErasure | None:
    """The wish of a person that their account be erased, where one waits."""
    return AccountErasure.objects.filter(WAITS, user=user).first()


def alone_on(user: User) -> Farm | None:
    """A farm of which this person is the only owner; None where others own theirs, too."""
    lasting = Membership.objects.filter(role=FarmRole.OWNER, ended_at__isnull=True)
    for own in lasting.filter(user=user).select_related("farm").order_by("farm__name"):
        if not lasting.filter(farm_id=own.farm_id).exclude(user=user).exists():
            return own.farm
    return None
