"""Fly sprays, pour-ons and baits: the full record, and what the farm says to one that a hired sprayer filled in."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.clock import local_date
from farms.models.chain import ActorKind
from monitoring.models.application import AmountUnit, AreaUnit, Target
from monitoring.rules.application import MOST, MOST_ANIMALS, Measured, People
from monitoring.rules.stewardship import StewardshipWarning
from monitoring.selectors import Stewardship, applications_of, people_of, withholding
from monitoring.selectors.last_done import Done
from monitoring.selectors.work_effects import effects_of_works
from monitoring.services import Applied, MendedApplication, Writer, check_application, record_application
from server.api.fields import Body, Choice, Day, Id, Moment, Size, Text, Whole, YesNo
from server.api.v1.effects import NO_EFFECT, EffectSerializer
from server.api.v1.facilities import facility_named
from server.api.v1.planned_for import planned_for_in
from server.api.v1.products import LABEL_EXAMPLE, LabelBody, LabelSerializer, label_in
from server.api.views import OnFarm

EXAMPLE = OpenApiExample(
    "A residual spray in a calf barn (invented)",
    LABEL_EXAMPLE
    | {
        "amount": 2.5, "amount_unit": "gal", "area": 450, "area_unit": "m2", "target": "house_flies",
        "begins_at": "2026-06-01T08:00:00Z", "ends_at": "2026-06-01T09:00:00Z", "applicator": "Pat Invented",
    },
    request_only=True,
)  # fmt: skip
NOT_SO = OpenApiExample("Not so (invented)", {"confirmed": False, "reason": "another barn"}, request_only=True)


class PeopleSerializer(serializers.Serializer):
    applicator = serializers.CharField()
    certificate = serializers.CharField(allow_blank=True)
    uncertified = serializers.CharField(allow_blank=True, help_text="An applicator without a certificate.")
    done_for = serializers.CharField(allow_blank=True, help_text="For whom it was applied.")


class ApplicationSerializer(LabelSerializer):
    """One record. The label is the law: it tells what was typed from it, and no more."""

    id = serializers.UUIDField()
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null for the whole farm.")
    place = serializers.CharField(allow_blank=True)
    product_id = serializers.UUIDField(allow_null=True, help_text="Of the group's list, where it was taken from there.")
    amount = serializers.FloatField()
    amount_unit = serializers.ChoiceField(AmountUnit.choices)
    area = serializers.FloatField(allow_null=True)
    area_unit = serializers.ChoiceField(AreaUnit.choices, allow_blank=True)
    animals = serializers.IntegerField(allow_null=True)
    target = serializers.ChoiceField(Target.choices)
    begins_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    reentry_id = serializers.UUIDField(allow_null=True, help_text="The kept-out time that came with it.")
    milk_until = serializers.DateTimeField(allow_null=True)
    meat_until = serializers.DateTimeField(allow_null=True)
    certifier_answer_id = serializers.UUIDField(allow_null=True, help_text="On an organic farm.")
    people = PeopleSerializer(allow_null=True, help_text="Null for keys, and where names were erased.")
    from_paper = serializers.BooleanField()
    through_link = serializers.BooleanField(help_text="Filled in by a hired sprayer at a one-time link.")
    confirmed = serializers.BooleanField(allow_null=True, help_text="What the farm said to that; null where nothing.")
    warnings = serializers.ListField(
        child=serializers.ChoiceField([(each.value, each.value) for each in StewardshipWarning]),
        help_text="What is to be thought of; never a recommendation.",
    )
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    planned_id = serializers.UUIDField(allow_null=True, help_text="The plan of which it is a day.")
    planned_for = serializers.DateField(allow_null=True)
    replaces_id = serializers.UUIDField(allow_null=True, help_text="The record that was typed wrongly.")
    reason = serializers.CharField(allow_blank=True, help_text="Why it was changed.")
    replaced = serializers.BooleanField(help_text="Whether a later one replaced it.")
    entry = serializers.IntegerField(help_text="The entry of the farm's chain with which it was stored.")
    since_then = EffectSerializer(source="*", help_text="What became of the counts after it, as of a work.")


class NewApplication(LabelBody):
    facility_id = Id(default=None, allow_null=True, help_text="Null for the whole farm.")
    place = Text(default="", allow_blank=True, max_length=200, help_text="Where in it.")
    product_id = Id(default=None, allow_null=True, help_text="Of the group's list, where it was taken from there.")
    amount = Size(most=MOST, help_text="In all, not a rate.")
    amount_unit = Choice(AmountUnit.choices)
    area = Size(most=MOST, default=None, allow_null=True, help_text="This or `animals`.")
    area_unit = Choice(AreaUnit.choices, default="", allow_blank=True)
    animals = Whole(default=None, allow_null=True, min_value=1, max_value=MOST_ANIMALS)
    target = Choice(Target.choices)
    begins_at = Moment()
    ends_at = Moment()
    applicator = Text(max_length=120)
    certificate = Text(default="", allow_blank=True, max_length=60)
    uncertified = Text(default="", allow_blank=True, max_length=120, help_text="An applicator without a certificate.")
    done_for = Text(default="", allow_blank=True, max_length=120, help_text="For whom it was applied.")
    from_paper = YesNo(default=False, help_text="Typed from a record on paper.")
    planned_id = Id(default=None, allow_null=True, help_text="The plan of which it is a day, with planned_for.")
    planned_for = Day(default=None, allow_null=True, help_text="The day of the plan that it stands for.")
    replaces_id = Id(default=None, allow_null=True, help_text="One that was typed wrongly: both stay on record.")
    reason = Text(default="", allow_blank=True, max_length=200, help_text="Needed with replaces_id.")


class CheckBody(Body):
    confirmed = YesNo()
    reason = Text(default="", allow_blank=True, max_length=200, help_text="What is not so; needed with false.")


class ApplicationQuery(Body):
    withheld_at = Moment(required=False, help_text="Those whose label withholds milk or meat at this moment.")


class Applications(OnFarm):
    needs = {"list": Need.READ, "create": Need.RECORD, "retrieve": Need.READ, "check_record": Need.OWN}
    newest_first = ("-begins_at", "-id")
    lookup_url_kwarg = "application_id"

    @extend_schema(responses=ApplicationSerializer(many=True), parameters=[ApplicationQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The records, newest first: those that were changed since, too, and those that the farm said are not so.

        With `withheld_at` those that hold and withhold milk or meat at that moment. An empty list tells that nothing
        was typed, and nothing about the milk or the animals: read the label, ask whoever applied.
        """
        at = self.query(ApplicationQuery).get("withheld_at")
        rows = applications_of(self.farm) if at is None else withholding(self.farm, at)
        return self.page_of(self.told_whole(self.paginate_queryset(rows) or []), ApplicationSerializer)

    @extend_schema(responses=ApplicationSerializer)
    def retrieve(self, request: Request, farm_id: UUID, application_id: UUID) -> Response:
        """One record."""
        return self.told(ApplicationSerializer(self.one(application_id)).data)

    @extend_schema(request=NewApplication, responses={201: ApplicationSerializer, 404: None}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Note what was applied; people are kept out for the label's hours from then on.

        On a farm kept organic it is refused until the certifier's answer about the product is on record.
        """
        body = self.body(NewApplication)
        replaces_id, reason = body.pop("replaces_id"), body.pop("reason")
        mending = MendedApplication(one_of(applications_of(self.farm), replaces_id), reason) if replaces_id else None
        applied = Applied(
            label=label_in(body),
            measured=Measured(**{name: body.pop(name) for name in Measured.__dataclass_fields__}),
            people=People(**{name: body.pop(name) for name in People.__dataclass_fields__}),
            facility=facility_named(self.farm, body.pop("facility_id")),
            stands_for=planned_for_in(self.farm, body),
            **body,
        )
        made = record_application(
            farm=self.farm, applied=applied, by=Writer(self.actor), now=self.now, mending=mending
        )  # fmt: skip
        return Response(ApplicationSerializer(self.one(made.id)).data, status=201)

    @extend_schema(request=CheckBody, responses=ApplicationSerializer, examples=[NOT_SO])
    @action(detail=True, methods=["post"], url_path="check", url_name="check")
    def check_record(self, request: Request, farm_id: UUID, application_id: UUID) -> Response:
        """Say to a record that a hired sprayer filled in that so it was, or what is not so; for owners."""
        row = one_of(applications_of(self.farm), application_id)
        check_application(application=row, **self.body(CheckBody), actor=self.actor, now=self.now)
        return Response(ApplicationSerializer(self.one(application_id)).data)

    def one(self, application_id: UUID) -> Any:
        return self.told_whole([one_of(applications_of(self.farm), application_id)])[0]

    def told_whole(self, rows: Sequence[Any]) -> Sequence[Any]:
        """The records, each with its names where whoever asks may know them, and what is to be thought of."""
        people, past = people_of(rows), Stewardship(self.farm)
        for row in rows:
            row.warnings = past.warnings(row, people[row.id].certificate if row.id in people else None)
            row.people = people.get(row.id)
        return self.with_effects(rows)

    def with_effects(self, rows: Sequence[Any]) -> Sequence[Any]:
        """The records, each with its effect; what was replaced or is not so has none."""
        zone = self.farm.time_zone
        standing = [Done.of_application(row, zone) for row in rows if not row.replaced and row.confirmed is not False]
        effects = effects_of_works(standing, [self.farm], local_date(self.now, zone))
        for row in rows:
            row.told = effects.get(row.id, NO_EFFECT)
        return rows
