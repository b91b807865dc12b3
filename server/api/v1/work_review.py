"""A season's works, kind by kind, and what became of the counts after them."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.clock import local_date
from farms.selectors import season_asked
from monitoring.methods import METHOD_CHOICES
from monitoring.selectors.work_effects import REASONS
from monitoring.selectors.work_review import review_of_season
from server.api.fields import Body, Id
from server.api.v1.effects import PER_CENT
from server.api.views import OnFarm


class ReviewedWorkSerializer(serializers.Serializer):
    """One work, or a programme of releases, with its effect as it can be told today."""

    id = serializers.UUIDField(source="deed.id", help_text="Of a programme that of its first release.")
    begins_on = serializers.DateField(source="deed.begins_on")
    ends_on = serializers.DateField(source="deed.ends_on")
    facility_id = serializers.UUIDField(source="deed.facility_id", allow_null=True, help_text="Null: the whole farm.")
    effect = serializers.FloatField(source="effect.change", allow_null=True, help_text=PER_CENT)
    low = serializers.FloatField(source="effect.change_low", allow_null=True, help_text="Of its 95 % interval.")
    high = serializers.FloatField(source="effect.change_high", allow_null=True, help_text="Of its 95 % interval.")
    method = serializers.ChoiceField(METHOD_CHOICES, source="effect.method", allow_null=True)
    with_region = serializers.BooleanField(
        source="effect.with_region", help_text="It was set beside the region's published weeks."
    )
    reason = serializers.ChoiceField(
        [reason for reason in REASONS if reason],
        source="effect.reason",
        allow_blank=True,
        help_text="Empty, or why there is no effect of its own; as in a work.",
    )
    counts = serializers.BooleanField(source="effect.credits", help_text="Whether it is among those taken together.")


class KindReviewSerializer(serializers.Serializer):
    kind = serializers.CharField()
    told = serializers.IntegerField(help_text="How many have an effect of their own, against something else.")
    effect = serializers.FloatField(
        source="change", allow_null=True, help_text=f"Of all of them together. {PER_CENT} Two at least must be told."
    )
    low = serializers.FloatField(source="change_low", allow_null=True, help_text="Of its 95 % interval.")
    high = serializers.FloatField(source="change_high", allow_null=True, help_text="Of its 95 % interval.")
    method = serializers.ChoiceField(METHOD_CHOICES, allow_null=True, help_text="Whose counts are taken together.")
    works = ReviewedWorkSerializer(many=True, source="deeds", help_text="In the order in which they were done.")


class WorkReviewSerializer(serializers.Serializer):
    season_id = serializers.UUIDField(allow_null=True, help_text="Null where no season has begun.")
    kinds = KindReviewSerializer(many=True, help_text="What was done most often first.")


class ReviewQuery(Body):
    season_id = Id(required=False, help_text="Without it the newest season that has begun.")


class WorkReviewOfFarm(OnFarm):
    needs = {"retrieve": Need.READ}

    @extend_schema(responses=WorkReviewSerializer, parameters=[ReviewQuery])
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """A season's works, kind by kind: each one's effect, and all of a kind together."""
        today = local_date(self.now, self.farm.time_zone)
        season = season_asked(self.farm, self.query(ReviewQuery).get("season_id"), today)
        kinds: Any = () if season is None else review_of_season(self.farm, season, on=today).kinds
        found = {"season_id": season.id if season else None, "kinds": kinds}
        return self.told(WorkReviewSerializer(found).data)
