"""What became of the counts after something that was done, as it can be told today: of a work and of an application."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from monitoring.methods import METHOD_CHOICES
from monitoring.selectors.work_effects import REASONS, WorkEffect

NO_EFFECT = WorkEffect("")
PER_CENT = "In per cent, negative for fewer: -50 is half of what was to be expected. Null where nothing can be told."


class EffectSerializer(serializers.Serializer):
    """The effect that a row has as `told`."""

    effect = serializers.FloatField(source="told.change", allow_null=True, help_text=PER_CENT)
    low = serializers.FloatField(source="told.change_low", allow_null=True, help_text="Of its 95 % interval.")
    high = serializers.FloatField(source="told.change_high", allow_null=True, help_text="Of its 95 % interval.")
    method = serializers.ChoiceField(METHOD_CHOICES, source="told.method", allow_null=True, help_text="Whose counts.")
    compared_with = serializers.ListField(
        source="told.compared_with",
        child=serializers.UUIDField(),
        help_text="The farm's facilities where nothing was done meanwhile; empty where there is no comparison.",
    )
    with_region = serializers.BooleanField(
        source="told.with_region",
        help_text="It was set beside the region's published weeks, since nothing else is there.",
    )
    together_with = serializers.SerializerMethodField(
        help_text="What was done there at the same time, so that none of it has an effect of its own."
    )
    joint_effect = serializers.FloatField(
        source="told.joint_change", allow_null=True, help_text="Of all of that together. " + PER_CENT
    )
    joint_low = serializers.FloatField(source="told.joint_low", allow_null=True, help_text="Of its 95 % interval.")
    joint_high = serializers.FloatField(source="told.joint_high", allow_null=True, help_text="Of its 95 % interval.")
    weeks_needed = serializers.IntegerField(
        source="told.weeks_needed",
        allow_null=True,
        help_text="About so many more weeks of counts would tell a change of the size seen, or by half, in four "
        "cases of five; 0 where no number of weeks would. Null where nothing is needed or it can't be reckoned.",
    )
    reason = serializers.ChoiceField(
        [reason for reason in REASONS if reason],
        source="told.reason",
        allow_blank=True,
        help_text="Empty, or why there is no effect. With no_comparison it is after against before alone: weather may "
        "have done it.",
    )
    weather = serializers.ChoiceField(
        ["hot", "cold"],
        source="told.weather",
        allow_blank=True,
        help_text="What keeps counts low by itself in the weeks after the work: a fall is not told as the work's then.",
    )

    @extend_schema_field(serializers.ListField(child=serializers.UUIDField()))
    def get_together_with(self, row: Any) -> list[UUID]:
        return [deed.id for deed in row.told.together_with]
