"""Fields that take what they say and nothing else: no number in quotes, no yes for true, no field they don't know.

Each refusal is a sentence that says what to send instead.
"""

import math
import re
from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

DAY = re.compile(r"\d{4}-\d\d-\d\d")
MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-]\d\d:\d\d)")
CLOCK = re.compile(r"\d\d:\d\d(:\d\d)?")
UUID_TEXT = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
# PostgreSQL's integer; beyond it a number can't be stored, whatever it means.
MOST_WHOLE = 2**31 - 1

MISSING = {"required": _("Add this field."), "null": _("Give a value here; null isn't one.")}
PLAIN_NUMBER = re.compile(r"[0-9]{1,9}(\.[0-9]{1,6})?")
BOUNDS = {"min_value": _("Give {min_value} or more."), "max_value": _("Give {max_value} or less.")}


class Whole(serializers.IntegerField):
    default_error_messages = {**MISSING, **BOUNDS, "invalid": _("Send a whole number, without quotes.")}

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_value", MOST_WHOLE)
        kwargs.setdefault("min_value", 0)
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> int:
        # JSON knows one kind of number: 12.0 is 12.
        if isinstance(data, bool) or not isinstance(data, int | float) or data != data // 1:
            self.fail("invalid")
        return int(data)


class WholeText(Whole):
    """A whole number in a query, where everything is text."""

    default_error_messages = {**MISSING, **BOUNDS, "invalid": _("Give a whole number, in digits.")}

    def to_internal_value(self, data: Any) -> int:
        if not isinstance(data, str) or not data.isascii() or not data.isdecimal() or len(data) > 18:
            self.fail("invalid")
        return int(data)


class Number(serializers.FloatField):
    default_error_messages = {**MISSING, **BOUNDS, "invalid": _("Send a number, without quotes.")}

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float) or not math.isfinite(data):
            self.fail("invalid")
        return float(data)


class NumberText(Number):
    """A number in a query, where everything is text: digits, with a point where it isn't whole."""

    default_error_messages = {**MISSING, **BOUNDS, "invalid": _("Give a number in digits, such as 80 or 7.5.")}

    def to_internal_value(self, data: Any) -> float:
        if not isinstance(data, str) or not PLAIN_NUMBER.fullmatch(data):
            self.fail("invalid")
        return float(data)


class Part(serializers.DecimalField):
    """A share above 0 and at most 1, in steps of 0.0001; a plain number in JSON."""

    default_error_messages = {
        **MISSING,
        **BOUNDS,
        "invalid": _("Send a number above 0 and at most 1, without quotes, such as 0.25."),
        "max_decimal_places": _("Round to four decimals, such as 0.3333."),
        "max_digits": _("Round to four decimals, such as 0.3333."),
    }

    def __init__(self, **kwargs: Any) -> None:
        kwargs |= {"max_digits": 5, "decimal_places": 4, "coerce_to_string": False}
        super().__init__(min_value=Decimal("0.0001"), max_value=Decimal(1), **kwargs)

    def to_internal_value(self, data: Any) -> Decimal:
        if isinstance(data, bool) or not isinstance(data, int | float) or not math.isfinite(data):
            self.fail("invalid")
        return super().to_internal_value(data)

    def to_representation(self, value: Any) -> float:  # type: ignore[override]
        return float(value)


class Size(serializers.DecimalField):
    """An amount above 0, in steps of 0.0001; a plain number in JSON."""

    default_error_messages = {
        **MISSING,
        **BOUNDS,
        "invalid": _("Send a number above 0, without quotes, such as 2.5."),
        "max_decimal_places": _("Round to four decimals, such as 2.3333."),
        "max_digits": _("Round to four decimals, such as 2.3333."),
        "max_whole_digits": _("This is more than can be meant. Check the number and its unit."),
    }

    def __init__(self, *, most: Decimal, **kwargs: Any) -> None:
        kwargs |= {"max_digits": 12, "decimal_places": 4, "coerce_to_string": False}
        super().__init__(min_value=Decimal("0.0001"), max_value=most, **kwargs)

    def to_internal_value(self, data: Any) -> Decimal:
        if isinstance(data, bool) or not isinstance(data, int | float) or not math.isfinite(data):
            self.fail("invalid")
        return super().to_internal_value(data)

    def to_representation(self, value: Any) -> float:  # type: ignore[override]
        return float(value)


class YesNo(serializers.BooleanField):
    default_error_messages = {**MISSING, "invalid": _("Send true or false, without quotes.")}

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            self.fail("invalid")
        return data


class Flag(serializers.BooleanField):
    """Yes or no in a query, where everything is text."""

    default_error_messages = {**MISSING, "invalid": _("Give true or false.")}

    def to_internal_value(self, data: Any) -> bool:
        if data not in ("true", "false"):
            self.fail("invalid")
        return bool(data == "true")


class Text(serializers.CharField):
    default_error_messages = {
        **MISSING,
        "invalid": _("Send text in quotes."),
        "blank": _("Write something here."),
        "max_length": _("Shorten this to {max_length} characters."),
        "min_length": _("Write at least {min_length} characters."),
    }

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class Choice(serializers.ChoiceField):
    default_error_messages = {
        **MISSING,
        "invalid_choice": _("Use one of: {choices}."),
        "blank": _("Use one of the words listed in the documentation."),
    }

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or (data not in self.choices and not (data == "" and self.allow_blank)):
            self.fail("invalid_choice", choices=", ".join(map(str, self.choices)))
        return data


class Id(serializers.UUIDField):
    default_error_messages = {**MISSING, "invalid": _("Send a UUID in quotes, 36 characters with its dashes.")}

    def to_internal_value(self, data: Any) -> UUID:
        if not isinstance(data, str) or not UUID_TEXT.fullmatch(data):
            self.fail("invalid")
        return UUID(data)


class Ids(serializers.CharField):
    """UUIDs in a query, where everything is text: with commas between. None where it is empty."""

    default_error_messages = {**MISSING, "invalid": _("Give UUIDs of 36 characters, with commas between.")}

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(allow_blank=True, **kwargs)

    def to_internal_value(self, data: Any) -> Any:
        texts = [text.strip() for text in str(data).split(",") if text.strip()]
        if not all(map(UUID_TEXT.fullmatch, texts)):
            self.fail("invalid")
        return tuple(map(UUID, texts))


class Day(serializers.DateField):
    default_error_messages = {**MISSING, "invalid": _("Send a day of the calendar as in 2026-06-29.")}

    def to_internal_value(self, data: Any) -> date:
        if not isinstance(data, str) or not DAY.fullmatch(data):
            self.fail("invalid")
        try:
            return date.fromisoformat(data)
        except ValueError:
            self.fail("invalid")


class Moment(serializers.DateTimeField):
    default_error_messages = {
        **MISSING,
        "invalid": _("Send a date and time with its offset, as in 2026-06-29T07:30:00Z."),
    }

    def to_internal_value(self, data: Any) -> datetime:
        if not isinstance(data, str) or not MOMENT.fullmatch(data):
            self.fail("invalid")
        try:
            return datetime.fromisoformat(data).astimezone(UTC)
        except (ValueError, OverflowError):
            self.fail("invalid")


class TimeOfDay(serializers.TimeField):
    default_error_messages = {**MISSING, "invalid": _("Send a time of day as in 07:30.")}

    def to_internal_value(self, data: Any) -> time:
        if not isinstance(data, str) or not CLOCK.fullmatch(data):
            self.fail("invalid")
        try:
            return time.fromisoformat(data)
        except ValueError:
            self.fail("invalid")


class Several(serializers.ListField):
    """A list of one kind of value."""

    default_error_messages = {
        **MISSING,
        "not_a_list": _("Send a list, in square brackets."),
        "empty": _("Send at least one entry."),
        "min_length": _("Send at least {min_length} entries."),
        "max_length": _("Send at most {max_length} entries at a time."),
    }


class Body(serializers.Serializer[Any]):
    """What a request brings: refused where it holds a field that isn't known, so that a slip doesn't pass unseen."""

    default_error_messages = {**MISSING, "invalid": _("Send a JSON object here, in curly brackets.")}

    @classmethod
    def listed(cls, most: int, **kwargs: Any) -> "serializers.ListSerializer[Any]":
        """A list of these, of at most `most`."""
        kwargs["error_messages"] = {**MISSING, "not_a_list": Several.default_error_messages["not_a_list"]}
        kwargs["error_messages"]["max_length"] = Several.default_error_messages["max_length"]
        listed: serializers.ListSerializer[Any] = cls(many=True, max_length=most, **kwargs)
        return listed

    def to_internal_value(self, data: Any) -> Any:
        unknown = sorted(set(data) - set(self.fields)) if isinstance(data, Mapping) else []
        sentence = serializers.ErrorDetail(_("Nothing of this name is known here. Check how it is written."), "unknown")
        errors: dict[str, Any] = {str(name): [sentence] for name in unknown}
        try:
            value = super().to_internal_value(data)
        except serializers.ValidationError as refused:
            if not isinstance(refused.detail, dict):
                raise
            errors |= refused.detail
        if errors:
            raise serializers.ValidationError(errors)
        return value
