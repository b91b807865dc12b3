"""What a work costs and what it may save: from how many stable flies an animal on it pays, with the user's numbers.

Only leg counts: no loss of milk has been shown for house flies. Nothing is stored; the numbers stand in the address.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from alerts.selectors import newest_week, week_result
from alerts.wording.numbers import amount
from alerts.wording.results import mean_phrase
from farms.access import Need
from monitoring.analysis.worth import MEDIAN_LOSS, STABLE_FLIES_ON_LEGS, against_break_even, break_even
from server.web.doors import Visit, farm_page
from server.web.forms.worth import WorthForm

MOST_SHOWN = 1000.0
VERDICTS = {
    "below": gettext_lazy("That is below it: with your numbers the work would cost more than the milk that it saves."),
    "over": gettext_lazy("That is over it: with your numbers the work would save more milk than it costs."),
    "either": gettext_lazy("The range reaches to both sides of it, so these counts can't tell."),
    "below_roughly": gettext_lazy("That is below it, but too little was counted to say how sure that is."),
    "over_roughly": gettext_lazy("That is over it, but too little was counted to say how sure that is."),
    "not_known": gettext_lazy("Legs were not counted in the newest week, so there is nothing to set beside it."),
}


@dataclass(frozen=True)
class Answer:
    """From how many flies on it pays, the same where a fly takes half and twice as much, and this week beside it."""

    flies: str
    others: tuple[tuple[str, str], ...]
    week: str
    verdict: str
    source: str


@farm_page(Need.READ)
@require_safe
def worth(request: HttpRequest, visit: Visit) -> HttpResponse:
    asked = any(name in request.GET for name in WorthForm.base_fields)
    form = WorthForm(request.GET if asked else None)
    answer = _answer(visit, form) if form.is_valid() else None
    context = {"visit": visit, "form": form, "answer": answer, "published": MEDIAN_LOSS}
    return render(request, "web/worth.html", context, status=422 if form.errors else 200)


def _answer(visit: Visit, form: WorthForm) -> Answer:
    stake, cost = form.stake, form.cleaned_data["cost"]
    loss = float(np.asarray(stake.loss_per_fly))
    half, as_typed, twice = break_even(
        STABLE_FLIES_ON_LEGS, cost, replace(stake, loss_per_fly=loss * np.array([0.5, 1.0, 2.0]))
    ).flies.tolist()
    row = _legs(visit.farm)
    ends = (np.nan if each is None else each for each in ((row.mean, row.low, row.high) if row else (None,) * 3))
    return Answer(
        flies=_flies(as_typed),
        others=((_("half as much"), _flies(half)), (_("twice as much"), _flies(twice))),
        week=mean_phrase(row) if row else "",
        verdict=str(VERDICTS[str(against_break_even(as_typed, *ends))]),
        source=form.cleaned_data["loss_source"],
    )


def _legs(farm: Any) -> Any:
    """The farm's leg counts of the newest judged week; None where none were made."""
    week = newest_week(farm)
    rows = week_result(farm, week) if week else []
    legs = (row for row in rows if row.method == STABLE_FLIES_ON_LEGS and row.facility_id is None)
    return next((row for row in legs if row.mean is not None), None)


def _flies(number: float) -> str:
    return amount(number) if number <= MOST_SHOWN else _("more than {most}").format(most=amount(MOST_SHOWN))
