"""The data agreement: its text as it would be accepted now, what the farm accepted, and the group's terms."""

from dataclasses import asdict
from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, Who, group_for
from farms.agreement import Change, Standing, acceptances_of, standing_of, terms_of_group, written_terms_of
from farms.clock import local_date
from farms.licences import LICENCE_CHOICES, Licence
from farms.models import Group
from farms.models.access import GroupRole
from farms.models.group import LANGUAGES
from farms.services import NewTerms, Yes, accept_agreement, set_terms
from server.agreement import language_here, text_of
from server.api.fields import Body, Choice, Day, Text, YesNo
from server.api.pagination import OnePage
from server.api.people_only import OnFarmForPeople
from server.api.v1.licences import LicenceSerializer
from server.api.v1.regions import regions_for
from server.api.views import ApiViewSet

ACCEPT = OpenApiExample("Accept what was read", {"version": "2026-1", "language": "en"}, request_only=True)
TERMS = OpenApiExample(
    "The group's terms (invented)",
    {
        "licence": "CC-BY-4.0",
        "sells_products": False,
        "contact": "The office, +1 555 0100",
        "valid_from": "2026-06-08",
    },
    request_only=True,
)
SELLS = "Null where it was not said."


class AppliedTermsSerializer(serializers.Serializer):
    licence = LicenceSerializer(help_text="The open licence of the group's region reports.")
    sells_products = serializers.BooleanField(allow_null=True, help_text=f"Whether it sells fly products. {SELLS}")
    contact = serializers.CharField(help_text="Whom to ask; empty where it was not said.")
    valid_from = serializers.DateField(allow_null=True, help_text="Null where no terms were written.")


class AdviserSaysSerializer(serializers.Serializer):
    adviser_id = serializers.UUIDField()
    sells_products = serializers.BooleanField(allow_null=True, help_text=SELLS)


class SectionSerializer(serializers.Serializer):
    heading = serializers.CharField()
    paragraphs = serializers.ListField(child=serializers.CharField())
    columns = serializers.ListField(child=serializers.CharField(), help_text="Of the table; empty where there is none.")
    rows = serializers.ListField(child=serializers.ListField(child=serializers.CharField()))
    points = serializers.ListField(child=serializers.CharField())
    after = serializers.ListField(child=serializers.CharField(), help_text="Paragraphs behind table and points.")


class ChangeSerializer(serializers.Serializer):
    what = serializers.ChoiceField(["version", "licence", "group", "adviser"])
    before = serializers.CharField(allow_null=True, help_text="A version, a licence, or yes or no.")
    now = serializers.CharField(allow_null=True)
    adviser_id = serializers.UUIDField(allow_null=True)


class AgreementSerializer(serializers.Serializer):
    version = serializers.CharField()
    made_on = serializers.DateField()
    language = serializers.ChoiceField(LANGUAGES)
    edition = serializers.CharField(help_text="A code of all that is shown here. Send it when you accept.")
    title = serializers.CharField()
    sections = SectionSerializer(many=True)
    terms = AppliedTermsSerializer()
    advisers = AdviserSaysSerializer(many=True)
    holds = serializers.BooleanField(help_text="Whether the farm has accepted what is shown here.")
    changes = ChangeSerializer(many=True, help_text="What is otherwise than the farm accepted it last.")


class AcceptanceSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    version = serializers.CharField()
    language = serializers.ChoiceField(LANGUAGES)
    terms_id = serializers.UUIDField(allow_null=True, help_text="The group's terms; null where none were written.")
    accepted_by_id = serializers.UUIDField(help_text="Of a signed paper: who brought it in.")
    accepted_at = serializers.DateTimeField()
    signed_on = serializers.DateField(allow_null=True, help_text="Where it was signed on paper.")


class NewAcceptance(Body):
    version = Text(max_length=10, help_text="The one that was read.")
    language = Choice(LANGUAGES, help_text="In which it was read.")
    edition = Text(required=False, default="", max_length=16, help_text="As the agreement told it; checked if given.")


class GroupTermsSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    licence = serializers.ChoiceField(LICENCE_CHOICES)
    sells_products = serializers.BooleanField()
    contact = serializers.CharField()
    valid_from = serializers.DateField()
    set_by_id = serializers.UUIDField()
    set_at = serializers.DateTimeField()


class NewGroupTerms(Body):
    licence = Choice(LICENCE_CHOICES)
    sells_products = YesNo(help_text="Whether the group sells fly products.")
    contact = Text(max_length=200, help_text="Whom farms can ask: a name with a telephone number or an address.")
    valid_from = Day(help_text="Today or later, at most a year ahead.")


class TermsOnQuery(Body):
    on = Day(required=False, help_text="Today unless said otherwise.")


class AgreementOfFarm(OnFarmForPeople):
    needs = {"retrieve": Need.MANAGE}

    @extend_schema(responses=AgreementSerializer)
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """The data agreement as the farm would accept it now, in the language of Accept-Language (en or es).

        For the farm's owners and its advisers, not for keys.
        """
        standing = standing_of(self.farm, local_date(self.now, self.farm.time_zone))
        return self.told(AgreementSerializer(_told(standing)).data)


class Acceptances(OnFarmForPeople):
    needs = {"list": Need.MANAGE, "create": Need.OWN}
    pagination_class = OnePage

    @extend_schema(responses=AcceptanceSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """Every time the farm accepted the agreement, newest first; who signed a paper is told on its page alone."""
        return self.page(acceptances_of(self.farm), AcceptanceSerializer)

    @extend_schema(request=NewAcceptance, responses={201: AcceptanceSerializer}, examples=[ACCEPT])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Accept the agreement for the farm; for its owners.

        Refused where another version, or with `edition` anything else, was read than holds now. It lets nobody in, and
        counts the farm in no report: consents do that.
        """
        made = accept_agreement(farm=self.farm, yes=Yes(**self.body(NewAcceptance)), by=self.user, now=self.now)
        return Response(AcceptanceSerializer(made).data, status=201)


class TermsOfGroup(ApiViewSet):
    pagination_class = OnePage

    @extend_schema(responses=GroupTermsSerializer(many=True))
    def list(self, request: Request, group_id: UUID) -> Response:
        """Everything that the group's coordinators wrote, newest first; for the people of the group and its farms."""
        return self.page(written_terms_of(group_for(self.who, group_id)), GroupTermsSerializer)

    @extend_schema(request=NewGroupTerms, responses={201: GroupTermsSerializer}, examples=[TERMS])
    def create(self, request: Request, group_id: UUID) -> Response:
        """Write the group's terms from a day on; for its coordinators. Farms are shown what changed and asked again."""
        group = group_for(self.who, group_id, role=GroupRole.COORDINATOR)
        made = set_terms(group=group, terms=NewTerms(**self.body(NewGroupTerms)), by=self.user, now=self.now)
        return Response(GroupTermsSerializer(made).data, status=201)

    @extend_schema(responses=AppliedTermsSerializer, parameters=[TermsOnQuery])
    @action(detail=False)
    def applied(self, request: Request, group_id: UUID) -> Response:
        """The terms that hold on a day, with the open licence of the region reports; for whoever may read these."""
        group = _group_of_reports(self.who, group_id)
        on = self.query(TermsOnQuery).get("on") or local_date(self.now, group.time_zone)
        return self.told(AppliedTermsSerializer(terms_of_group(group.id, on)).data)


def _group_of_reports(who: Who, group_id: UUID) -> Group:
    """The group for whoever may read reports of one of its regions, and for its own people. Raises Missing."""
    region = regions_for(who).filter(group_id=group_id).select_related("group").first()
    return region.group if region is not None else group_for(who, group_id)


def _told(standing: Standing) -> dict[str, Any]:
    agreement = standing.agreement
    text = text_of(agreement, language_here())
    said = [{"adviser_id": each.adviser.id, "sells_products": each.sells_products} for each in agreement.advisers]
    told: dict[str, Any] = {"edition": agreement.edition, "terms": agreement.terms, "advisers": said}
    told |= {"holds": standing.holds, "changes": [_change(each) for each in standing.changes]}
    return asdict(text) | told


def _change(change: Change) -> dict[str, Any]:
    adviser_id = change.adviser.id if change.adviser is not None else None
    return {"what": change.what, "before": _word(change.before), "now": _word(change.now), "adviser_id": adviser_id}


def _word(value: object) -> str | None:
    if isinstance(value, Licence):
        return value.spdx
    if isinstance(value, bool):
        return "yes" if value else "no"
    return None if value is None else str(value)
