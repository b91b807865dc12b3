"""Fly walks and their findings: how each stands by its newest step, which are open, what was said of them.

Words are the farm's people's and its advisers': whoever asks for somebody decides whether they are asked for at all.
"""

from collections.abc import Collection, Iterable
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Case, CharField, Count, DateField, Exists, F, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce

from farms.lookups import array_of
from farms.models import Farm
from monitoring.models import (
    Finding,
    FindingPhoto,
    FindingPicture,
    FindingStep,
    FindingStepWords,
    FindingWords,
    Walk,
)
from monitoring.models.walk import FindingState, StepKind

OPEN = (FindingState.TO_DO, FindingState.TO_CHECK)


def walks_of(farm: Farm) -> QuerySet[Walk]:
    """The farm's walks, newest first, each with `places`: how many findings stand."""
    later = Finding.objects.filter(farm_id=OuterRef("farm_id"), replaces_id=OuterRef("id"))
    standing = Finding.objects.filter(~Exists(later), farm_id=OuterRef("farm_id"), walk_id=OuterRef("id"))
    places = standing.filter(withdrawn=False).order_by().values("walk_id").annotate(number=Count("id")).values("number")
    walks = Walk.objects.filter(farm_id=farm.id).select_related("facility", "station")
    return walks.annotate(places=Coalesce(Subquery(places), 0)).order_by("-walked_on", "-id")


def findings_of(farm: Farm) -> QuerySet[Any]:
    """The findings that stand, newest first, each with `known` (the id that stays), `state` and `due`."""
    return _stood(Finding.objects.filter(farm_id=farm.id)).order_by("-seen_on", "-id")


def open_findings(farm: Farm) -> QuerySet[Any]:
    """What is to be done or looked at again: that with the earliest day first, those without a day last."""
    return findings_of(farm).filter(state__in=OPEN).order_by(F("due").asc(nulls_last=True), "seen_on", "id")


def due_findings(farm_ids: Collection[UUID]) -> QuerySet[Any]:
    """What has a day on these farms, by it; `noted_at`: when its day was noted. One query."""
    found = _stood(Finding.objects.filter(farm_id__any_of=array_of(farm_ids))).filter(state__in=OPEN, due__isnull=False)
    return found.select_related("facility", "farm").order_by("due", "farm_id", "id")


def versions_of(finding: Finding) -> list[Finding]:
    """All versions of a finding, the first one first."""
    rows = Finding.objects.filter(Q(id=finding.known_as) | Q(origin_id=finding.known_as), farm_id=finding.farm_id)
    return list(rows.select_related("facility", "station").order_by("entry"))


def mended_findings(farm: Farm, since: date, until: date) -> QuerySet[Finding]:
    """Each later version of a finding seen from one day to another with the one that it replaces, oldest first."""
    days = (since, until)
    seen = Q(seen_on__range=days) | Q(replaces__seen_on__range=days)
    rows = Finding.objects.filter(seen, farm_id=farm.id, replaces_id__isnull=False)
    return rows.select_related("facility", "replaces", "replaces__facility").order_by("entry")


def steps_of(finding: Finding) -> list[Any]:
    """All steps of a finding in order, replaced ones too: `replaced` says which."""
    return list(_steps(finding.farm_id).filter(finding_id=finding.known_as))


def steps_of_findings(farm: Farm, ids: Iterable[UUID]) -> dict[UUID, list[Any]]:
    """The same of many, by the ids by which they are known; one query."""
    found: dict[UUID, list[Any]] = {}
    for step in _steps(farm.id).filter(finding_id__any_of=array_of(ids)):
        found.setdefault(step.finding_id, []).append(step)
    return found


def _steps(farm_id: UUID) -> QuerySet[Any]:
    later = FindingStep.objects.filter(farm_id=OuterRef("farm_id"), replaces_id=OuterRef("id"))
    rows = FindingStep.objects.filter(farm_id=farm_id).annotate(replaced=Exists(later))
    return rows.order_by("number", "entry")


def words_of_findings(farm: Farm, ids: Iterable[UUID]) -> dict[UUID, dict[str, str]]:
    """What was said of these versions of findings, by their own ids."""
    rows = FindingWords.objects.filter(farm_id=farm.id, finding_id__in=list(ids))
    return dict(rows.values_list("finding_id", "words"))


def words_of_steps(farm: Farm, ids: Iterable[UUID]) -> dict[UUID, dict[str, str]]:
    rows = FindingStepWords.objects.filter(farm_id=farm.id, step_id__in=list(ids))
    return dict(rows.values_list("step_id", "words"))


def finding_photos_of(farm: Farm) -> QuerySet[FindingPhoto]:
    """The photos of the farm's findings, newest first, each with `erased`: whether its picture was."""
    there = FindingPicture.objects.filter(farm_id=OuterRef("farm_id"), photo_id=OuterRef("id"))
    return FindingPhoto.objects.filter(farm_id=farm.id).annotate(erased=~Exists(there)).order_by("-received_at", "-id")


def finding_picture_of(photo: FindingPhoto, *, small: bool = False) -> bytes | None:
    """A photo's JPEG, or its small one; None where it was erased."""
    pictures = FindingPicture.objects.filter(farm_id=photo.farm_id, photo_id=photo.id)
    found = pictures.values_list("small" if small else "picture", flat=True).first()
    return None if found is None else bytes(found)


def hatching_findings(farm: Farm, since: date) -> QuerySet[Any]:
    """Where maggots or pupae were seen from a day on, newest first; not what is gone."""
    seen = Q(larvae__in=("some", "many")) | Q(pupae__in=("some", "many"))
    return findings_of(farm).filter(seen, seen_on__gte=since, state__in=OPEN)


def _stood(rows: QuerySet[Finding]) -> QuerySet[Any]:
    later = Finding.objects.filter(farm_id=OuterRef("farm_id"), replaces_id=OuterRef("id"))
    rows = rows.filter(~Exists(later), withdrawn=False).select_related("facility", "station")
    rows = rows.annotate(known=Coalesce("origin_id", "id"))
    replaced = FindingStep.objects.filter(farm_id=OuterRef("farm_id"), replaces_id=OuterRef("id"))
    steps = FindingStep.objects.filter(farm_id=OuterRef("farm_id"), finding_id=OuterRef("known"))
    newest = steps.filter(~Exists(replaced)).exclude(kind=StepKind.WITHDRAWN).order_by("-number")
    last = {f"last_{name}": Subquery(newest.values(name)[:1]) for name in ("kind", "on", "due_on", "recorded_at")}
    words = {
        FindingState.NOTHING: Q(nothing=True),
        FindingState.TO_CHECK: Q(last_kind=StepKind.DONE),
        FindingState.GONE: Q(last_kind=StepKind.GONE),
    }
    state = Case(
        *(When(asked, then=Value(word.value)) for word, asked in words.items()),
        default=Value(FindingState.TO_DO.value),
        output_field=CharField(),
    )
    due = Case(
        When(Q(nothing=True) | Q(last_kind=StepKind.GONE), then=Value(None)),
        When(last_kind__isnull=True, then=F("due_on")),
        default=F("last_due_on"),
        output_field=DateField(),
    )
    noted_at = Coalesce("last_recorded_at", "recorded_at")
    return rows.annotate(**last).annotate(state=state, due=due, noted_at=noted_at)
