"""How results are told: sentences for mails and pages, in the language that is active when they are asked for."""

from alerts.wording.numbers import amount, growth_phrase
from alerts.wording.outlook import crossing_in_words, list_promise, trend_text, weeks_ahead
from alerts.wording.places import facility_phrase, places_to_look, question_text, stations_phrase
from alerts.wording.results import level_phrase, mean_phrase

__all__ = [
    "amount",
    "crossing_in_words",
    "facility_phrase",
    "growth_phrase",
    "level_phrase",
    "list_promise",
    "mean_phrase",
    "places_to_look",
    "question_text",
    "stations_phrase",
    "trend_text",
    "weeks_ahead",
]
