"""An open licence as the API tells it."""

from rest_framework import serializers

from farms.licences import LICENCE_CHOICES


class LicenceSerializer(serializers.Serializer):
    spdx = serializers.ChoiceField(LICENCE_CHOICES, help_text="Its identifier in the SPDX licence list.")
    name = serializers.CharField()
    url = serializers.URLField()
