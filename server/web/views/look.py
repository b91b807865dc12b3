"""The look, shown on a page of the demo: colours, letters, spaces, and every part that pages are made of."""

import re
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

from django import forms
from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from monitoring.charts import ChartWords, SeasonSeries, WorkMark, season_chart
from server.web.forms.count import number_box
from server.web.words import rate, short_day

# An invented season of ten weeks, one of them not counted; the work is marked with its letter.
WEEKS = (42, 55, None, 61, 83, 118, 131, 96, 74, 58)
LEVELS = ("below", "below", None, "below", "near", "over", "over", "near", "near", "below")
FIRST = date(2026, 6, 1)
TOKEN = re.compile(r"--(?P<name>[a-z-]+):\s*(?P<value>[^;]+);(?:\s*/\*\s*(?P<use>.*?)\s*\*/)?")
ROOT = re.compile(r":root \{(.*?)\}", re.DOTALL)


@dataclass(frozen=True)
class Token:
    """A custom property of flyround.css: its value in light, in dark where that differs, and its use."""

    name: str
    light: str
    dark: str
    use: str

    @property
    def is_colour(self) -> bool:
        return self.light.startswith("#")


class ExampleForm(forms.Form):
    """One field of each kind."""

    number = forms.IntegerField(
        label=gettext_lazy("A number"), help_text=gettext_lazy("Its hint stands here."), widget=number_box()
    )
    choice = forms.ChoiceField(
        label=gettext_lazy("A choice"), widget=forms.RadioSelect,
        choices=[("one", gettext_lazy("one")), ("other", gettext_lazy("the other"))],
    )  # fmt: skip
    tick = forms.BooleanField(label=gettext_lazy("A tick box"), required=False)
    words = forms.CharField(label=gettext_lazy("Some words"), widget=forms.Textarea(attrs={"rows": 2}))


@require_safe
def look(request: HttpRequest) -> HttpResponse:
    """In any other installation than the demo this page does not exist."""
    if not settings.DEMO_MAIL_DIR:
        raise Http404
    context = {
        "tokens": tokens(),
        "form": ExampleForm({"number": "4o", "choice": "one", "words": _("Wet bedding along the wall.")}),
        "weeks": WEEKS,
        "levels": ("below", "near", "over", "none"),
        "wide": _chart("wide"),
        "narrow": _chart("narrow"),
    }
    return render(request, "web/look.html", context)


@cache
def tokens() -> tuple[Token, ...]:
    """Read from the stylesheet itself, so that this page can't differ from it."""
    css = Path(str(finders.find("web/flyround.css"))).read_text(encoding="utf-8")
    light, dark, *_print = (list(TOKEN.finditer(block)) for block in ROOT.findall(css))
    in_dark = {found["name"]: found["value"] for found in dark}
    return tuple(
        Token(found["name"], found["value"], in_dark.get(found["name"], ""), found["use"] or "") for found in light
    )


def _chart(shape: str) -> SafeString:
    series = SeasonSeries(
        key=f"look-{shape}", first_week=FIRST, means=WEEKS, levels=LEVELS, action_level=100.0,  # type: ignore[arg-type]
        lows=[mean and mean * 0.8 for mean in WEEKS], highs=[mean and mean * 1.25 for mean in WEEKS],
        work=(WorkMark(date(2026, 7, 9), "C"),),
    )  # fmt: skip
    words = ChartWords(
        title=_("A season, invented"),
        description=_("Ten weeks of an invented farm, one of them not counted."),
        unit=_("specks a card"),
        action_level=_("action level"),
        no_counts=_("Nothing was counted yet."),
        date_label=short_day,
        number=rate,
    )
    return mark_safe(season_chart(series, words=words, shape=shape))  # type: ignore[arg-type]  # noqa: S308 - drawn by us
