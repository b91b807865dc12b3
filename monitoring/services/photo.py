"""Photos of a round: taken in once, made anew, chained by a salted hash; and one of them erased."""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.access import ADVISER, OWNER, actor_on, role_on
from farms.errors import Conflict, Detail, Forbidden
from farms.ledger import Actor, append, lock_heads, next_number, row_hash, row_values, salted
from farms.models import Facility, Farm, User
from farms.models.log import LogKind
from farms.services import note_in_log
from monitoring.errors import PhotoRefused
from monitoring.models import Photo, PhotoPicture, Round, Station
from monitoring.models.photo import PhotoKind
from monitoring.rules.photo import Picture, made_anew
from monitoring.rules.walk import ELSEWHERE, plan_faults

MOST_OF_A_ROUND = 40
# A phone's clock may be wrong by a time zone.
CLOCKS_DIFFER = timedelta(days=1)
KIND_UNKNOWN = _("Say what the photo shows: card, or hatching for a place where flies hatch.")
# Nobody photographed cards before: a clock that was never set says 1970.
FIRST_YEAR = 2000
TAKEN_AHEAD = _("This photo was taken in the future. Set the clock of the phone, and send it again.")
TAKEN_LONG_AGO = _("The year in which this photo was taken can't be meant. Set the clock, and send it again.")


class TooManyPhotos(Conflict):
    code = "too_many_photos"
    message = _("This round has {most} photos already, and takes no more. Keep the others on the phone.")


class PhotoDiffers(Conflict):
    """A photo's id is known, with another picture or another place: nothing is overwritten."""

    code = "photo_differs"
    message = _("Another photo is already stored under this id. Nothing was stored. Use a new id for what is new.")


@dataclass(frozen=True)
class PhotoSent:
    """A photo as it comes in. `kind` is one of models.photo.PhotoKind; `content` the bytes of whatever was sent."""

    id: UUID
    kind: str
    taken_at: datetime
    content: bytes
    station: Station | None = None
    facility: Facility | None = None
    x: float | None = None
    y: float | None = None


def add_photo(*, walked: Round, sent: PhotoSent, actor: Actor, now: datetime) -> Photo:
    """Keep a photo of a round; one that came before under its id is given back as it is stored (`is_new` says which).

    Raises PhotoRefused, a refusal of monitoring.rules.photo, TooManyPhotos or PhotoDiffers; then nothing is stored.
    """
    known = _known(walked, sent)
    if known is not None:
        return known
    faults = _faults(walked.farm, sent, now)
    if faults:
        raise PhotoRefused(errors=faults)
    # Before anything is locked: it takes a second.
    picture = made_anew(sent.content)
    return _store(walked, sent, picture, actor, now)


@transaction.atomic
def erase_photo(*, photo: Photo, by: User, now: datetime) -> None:
    """Erase a picture and its salt; for the farm's owners and its advisers. That there was a photo stays."""
    if role_on(by, photo.farm_id) not in (OWNER, ADVISER):
        raise Forbidden()
    erased, _each = PhotoPicture.objects.filter(farm_id=photo.farm_id, photo_id=photo.id).delete()
    if erased:
        actor = actor_on(by, photo.farm_id)
        note_in_log(farm=photo.farm, kind=LogKind.PHOTO_ERASED, actor=actor, now=now, about=str(photo.id))


def photo_hash(photo: Photo) -> bytes:
    """What the chain holds of a photo: its row, in which the picture stands by its salted hash."""
    return row_hash(Photo._meta.db_table, row_values(photo))


@transaction.atomic
def _store(walked: Round, sent: PhotoSent, picture: Picture, actor: Actor, now: datetime) -> Photo:
    head = lock_heads([walked.farm_id])[walked.farm_id]
    # Sent twice at once: the other one may have come in meanwhile.
    known = _known(walked, sent)
    if known is not None:
        return known
    if Photo.objects.filter(farm_id=walked.farm_id, round_id=walked.id).count() >= MOST_OF_A_ROUND:
        raise TooManyPhotos(most=MOST_OF_A_ROUND)
    salt = secrets.token_bytes(16)
    photo = Photo.objects.create(
        farm_id=walked.farm_id, id=sent.id, round_id=walked.id, kind=sent.kind, taken_at=sent.taken_at,
        station_id=sent.station.id if sent.station else None, facility_id=sent.facility.id if sent.facility else None,
        x=sent.x, y=sent.y, width=picture.width, height=picture.height, picture_hash=salted(picture.jpeg, salt),
        sent_by=actor.id, actor_kind=actor.kind, received_at=now, entry=next_number(head),
    )  # fmt: skip
    PhotoPicture.objects.create(
        farm_id=walked.farm_id, photo_id=photo.id, picture=picture.jpeg, small=picture.small, salt=salt,
        sent_hash=salted(sent.content, salt),
    )  # fmt: skip
    append(head, kind="photo", actor=actor, row_hashes=[photo_hash(photo)], now=now)
    photo.is_new = True
    return photo


def _known(walked: Round, sent: PhotoSent) -> Photo | None:
    """The photo stored under this id; one that was erased stays so. Raises PhotoDiffers where it is another."""
    photo = Photo.objects.filter(farm_id=walked.farm_id, id=sent.id).first()
    if photo is None:
        return None
    kept = (
        PhotoPicture.objects.filter(farm_id=walked.farm_id, photo_id=photo.id).values_list("sent_hash", "salt").first()
    )
    same = kept is None or kept[0] == salted(sent.content, bytes(kept[1]))
    station, facility = sent.station and sent.station.id, sent.facility and sent.facility.id
    place = (photo.round_id, photo.kind, photo.station_id, photo.facility_id, photo.x, photo.y)
    if not same or place != (walked.id, sent.kind, station, facility, sent.x, sent.y):
        raise PhotoDiffers(pointer="/id")
    return photo


def _faults(farm: Farm, sent: PhotoSent, now: datetime) -> list[Detail]:
    faults = []
    if sent.kind not in PhotoKind.values:
        faults.append(Detail("/kind", str(KIND_UNKNOWN), "kind_unknown"))
    if sent.taken_at > now + CLOCKS_DIFFER:
        faults.append(Detail("/taken_at", str(TAKEN_AHEAD), "future_date"))
    if sent.taken_at.year < FIRST_YEAR:
        faults.append(Detail("/taken_at", str(TAKEN_LONG_AGO), "not_a_moment"))
    for name in ("station", "facility"):
        place = getattr(sent, name)
        if place is not None and place.farm_id != farm.id:
            faults.append(Detail(f"/{name}_id", str(ELSEWHERE), f"unknown_{name}"))
    return faults + plan_faults(sent.x, sent.y)
