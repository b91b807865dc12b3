"""Photos of findings: by the same rules as those of a round, chained by a salted hash, erased by who may."""

import secrets
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.access import ADVISER, OWNER, actor_on, role_on
from farms.chained_rows import hash_again
from farms.errors import Conflict, Forbidden
from farms.ledger import Actor, append, lock_heads, next_number, salted
from farms.models import Farm, User
from farms.models.log import LogKind
from farms.services import note_in_log
from monitoring.models import Finding, FindingPhoto, FindingPicture
from monitoring.rules.photo import Picture, made_anew
from monitoring.services.photo import PhotoDiffers

MOST_OF_A_FINDING = 12


class TooManyFindingPhotos(Conflict):
    code = "too_many_photos"
    message = _("This place has {most} photos already, and takes no more. Keep the others on the phone.")


@dataclass(frozen=True)
class FindingPhotoSent:
    """A photo of a place as it comes in: the sender's id, and the bytes of whatever was sent."""

    id: UUID
    content: bytes


def add_finding_photo(*, finding: Finding, sent: FindingPhotoSent, actor: Actor, now: datetime) -> FindingPhoto:
    """Keep a photo of a finding; one that came before under its id is given back (`is_new` says which).

    Raises a refusal of monitoring.rules.photo, TooManyFindingPhotos or PhotoDiffers; then nothing is stored.
    """
    known = _known(finding, sent)
    if known is not None:
        return known
    # Before anything is locked: it takes a second.
    picture = made_anew(sent.content)
    return _store(finding, sent, picture, actor, now)


@transaction.atomic
def erase_finding_photo(*, farm: Farm, photo: FindingPhoto, by: User, now: datetime) -> None:
    """Erase a picture and its salt; for the farm's owners and its advisers. That there was a photo stays."""
    if role_on(by, farm.id) not in (OWNER, ADVISER):
        raise Forbidden()
    erased, _each = FindingPicture.objects.filter(farm_id=farm.id, photo_id=photo.id).delete()
    if erased:
        actor = actor_on(by, farm.id)
        note_in_log(farm=farm, kind=LogKind.PHOTO_ERASED, actor=actor, now=now, about=str(photo.id))


@transaction.atomic
def _store(finding: Finding, sent: FindingPhotoSent, picture: Picture, actor: Actor, now: datetime) -> FindingPhoto:
    head = lock_heads([finding.farm_id])[finding.farm_id]
    # Sent twice at once: the other one may have come in meanwhile.
    known = _known(finding, sent)
    if known is not None:
        return known
    there = FindingPhoto.objects.filter(farm_id=finding.farm_id, finding_id=finding.known_as)
    if there.count() >= MOST_OF_A_FINDING:
        raise TooManyFindingPhotos(most=MOST_OF_A_FINDING)
    salt = secrets.token_bytes(16)
    photo = FindingPhoto.objects.create(
        farm_id=finding.farm_id, id=sent.id, finding_id=finding.known_as, width=picture.width, height=picture.height,
        picture_hash=salted(picture.jpeg, salt), sent_by=actor.id, actor_kind=actor.kind, received_at=now,
        entry=next_number(head),
    )  # fmt: skip
    FindingPicture.objects.create(
        farm_id=finding.farm_id, photo_id=photo.id, picture=picture.jpeg, small=picture.small, salt=salt,
        sent_hash=salted(sent.content, salt),
    )  # fmt: skip
    append(head, kind="finding_photo", actor=actor, row_hashes=[hash_again(photo)], now=now)
    photo.is_new = True
    return photo


def _known(finding: Finding, sent: FindingPhotoSent) -> FindingPhoto | None:
    """The photo stored under this id; one that was erased stays so. Raises PhotoDiffers where it is another."""
    photo = FindingPhoto.objects.filter(farm_id=finding.farm_id, id=sent.id).first()
    if photo is None:
        return None
    pictures = FindingPicture.objects.filter(farm_id=finding.farm_id, photo_id=photo.id)
    kept = pictures.values_list("sent_hash", "salt").first()
    same = kept is None or kept[0] == salted(sent.content, bytes(kept[1]))
    if not same or photo.finding_id != finding.known_as:
        raise PhotoDiffers(pointer="/id")
    return photo
