"""Complaints of a farm, for its owners and its advisers: what was said, what was answered."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from farms.models import Farm
from monitoring.models import Complaint, ComplaintAnswer, ComplaintAnswerWords, ComplaintWords


def complaints_of(farm: Farm) -> QuerySet[Complaint]:
    """The complaints that stand, newest first, each with `known`: the id that stays."""
    later = Complaint.objects.filter(farm_id=OuterRef("farm_id"), replaces_id=OuterRef("id"))
    rows = Complaint.objects.filter(~Exists(later), farm_id=farm.id)
    return rows.annotate(known=Coalesce("origin_id", "id")).order_by("-heard_on", "-id")


def versions_of_complaint(complaint: Complaint) -> list[Complaint]:
    """All versions of a complaint, the first one first."""
    known = Q(id=complaint.known_as) | Q(origin_id=complaint.known_as)
    return list(Complaint.objects.filter(known, farm_id=complaint.farm_id).order_by("entry"))


def answers_of(farm: Farm) -> QuerySet[ComplaintAnswer]:
    """All answers of the farm, oldest first, replaced ones too: `replaced` says which."""
    later = ComplaintAnswer.objects.filter(farm_id=OuterRef("farm_id"), replaces_id=OuterRef("id"))
    rows = ComplaintAnswer.objects.filter(farm_id=farm.id).annotate(replaced=Exists(later))
    return rows.order_by("answered_on", "entry")


def words_of_complaints(farm: Farm, ids: Iterable[UUID]) -> dict[UUID, dict[str, str]]:
    """What was said, by the ids of the versions."""
    rows = ComplaintWords.objects.filter(farm_id=farm.id, complaint_id__in=list(ids))
    return dict(rows.values_list("complaint_id", "words"))


def words_of_answers(farm: Farm, ids: Iterable[UUID]) -> dict[UUID, dict[str, str]]:
    rows = ComplaintAnswerWords.objects.filter(farm_id=farm.id, answer_id__in=list(ids))
    return dict(rows.values_list("answer_id", "words"))
