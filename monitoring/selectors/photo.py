"""Photos of rounds. Their pictures are read one by one, and by nothing that lists photos."""

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from farms.models import Facility, Farm
from monitoring.models import Photo, PhotoPicture, Station
from monitoring.models.photo import PhotoKind


@dataclass(frozen=True)
class HatchingPlace:
    """A place where flies hatch, with the photo that says so.

    `spot` is its place on the plan (x, y from 0, left and top, to 1) where one was said; else it is near the station.
    """

    photo_id: UUID
    round_id: UUID
    station: Station | None
    facility: Facility | None
    seen_at: datetime
    spot: tuple[float, float] | None


def photos_of(farm: Farm) -> QuerySet[Photo]:
    """The farm's photos, newest first, each with `erased`: whether its picture was."""
    photos = Photo.objects.filter(farm_id=farm.id).select_related("station", "facility")
    return photos.annotate(erased=~_there()).order_by("-taken_at", "-id")


def photos_of_round(farm: Farm, round_id: UUID) -> list[Photo]:
    """A round's photos that were not erased, in the order in which they were taken."""
    photos = photos_of(farm).filter(_there(), round_id=round_id)
    return list(photos.order_by("taken_at", "id"))


def picture_of(photo: Photo, *, small: bool = False) -> bytes | None:
    """A photo's JPEG, or its small one; None where it was erased."""
    pictures = PhotoPicture.objects.filter(farm_id=photo.farm_id, photo_id=photo.id)
    found = pictures.values_list("small" if small else "picture", flat=True).first()
    return None if found is None else bytes(found)


def hatching_places(farm: Farm, since: date) -> list[HatchingPlace]:
    """Where flies hatch, as photos from a day (UTC) on say it, newest first; none erased."""
    photos = photos_of(farm).filter(_there(), kind=PhotoKind.HATCHING, taken_at__date__gte=since)
    return [
        HatchingPlace(each.id, each.round_id, each.station, each.facility, each.taken_at, _spot(each))
        for each in photos
    ]


def _spot(photo: Photo) -> tuple[float, float] | None:
    return None if photo.x is None or photo.y is None else (photo.x, photo.y)


def _there() -> Exists:
    """Whether a photo's picture is there: it was not erased."""
    return Exists(PhotoPicture.objects.filter(farm_id=OuterRef("farm_id"), photo_id=OuterRef("id")))
