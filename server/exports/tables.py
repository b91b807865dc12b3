"""The tables that a farm may take along. No names of people, no notes, no places on the earth are in them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db.models import F, FloatField, OuterRef, QuerySet, Subquery
from django.db.models.functions import Cast

from alerts.models import Assessment
from alerts.models.assessment import LevelWord, TrendWord
from alerts.selectors.results import latest
from farms.clock import monday_of
from farms.models import Farm
from farms.models.chain import ActorKind
from farms.models.farm import FacilityKind
from monitoring.methods import METHODS
from monitoring.models import Siting, Station
from monitoring.models.application import AmountUnit, AreaUnit, Target
from monitoring.models.photo import PhotoKind
from monitoring.models.planned_work import PLAN_KINDS, StepKind, Unit
from monitoring.models.product import ProductKind
from monitoring.models.reading import CorrectionKind, How, NoCount
from monitoring.models.round import Source
from monitoring.models.station import Near
from monitoring.models.walk import Amount, FindingState, Material, Moisture, Place
from monitoring.models.work import WorkKind
from monitoring.selectors import (
    findings_of,
    photos_of,
    planned_steps_of,
    planned_works_of,
    readings_of,
    rounds_of,
    standing_applications_of,
    summaries_of,
    works_on_record,
)
from server.exports.columns import Column, Kind, days_between, listed, station_name, unless_blank

Rows = QuerySet[Any]
METHOD_WORDS = tuple(METHODS)


@dataclass(frozen=True)
class Table:
    """One table: its columns, and the rows of a farm in a fixed order.

    `filters` names for each word of a query the condition on the rows; `points_to` for a column of ids the table that
    they are of.
    """

    name: str
    says: str
    columns: tuple[Column, ...]
    rows_of: Callable[[Farm], Rows]
    filters: Mapping[str, str]
    weekly: bool = False
    key: tuple[str, ...] = ("id",)
    points_to: Mapping[str, str] = field(default_factory=dict)

    def rows(self, farm: Farm, asked: Mapping[str, Any]) -> Rows:
        """The farm's rows as tuples, one value a column."""
        if self.weekly and "since" in asked:
            # The week that holds the day is asked for, too.
            asked = {**asked, "since": monday_of(asked["since"])}
        conditions = {condition: asked[word] for word, condition in self.filters.items() if word in asked}
        found = self.rows_of(farm).filter(**conditions)
        return found.values_list(*(column.expression for column in self.columns))


def _id(name: str = "id", says: str = "Its id, unique on the farm.", **more: Any) -> Column:
    return Column(name, Kind.ID, says, **more)


def _method(path: str = "method") -> Column:
    return Column("method", Kind.WORD, "How it was counted.", F(path), words=METHOD_WORDS)


def _facility(path: str, *, always: bool = True) -> tuple[Column, ...]:
    whole = "" if always else " Missing: the whole farm."
    return (
        _id("facility_id", f"The barn or lot.{whole}", source=F(f"{path}facility_id"), always=always),
        Column("facility", Kind.TEXT, "What the farm calls it.", F(f"{path}facility__name"), always=always),
    )


READINGS = Table(
    "readings",
    "What was found at each card, trap or leg count: the readings that stand. One that was corrected or withdrawn "
    "isn't here; what corrects it is, and names it.",
    (
        _id(),
        _id("round_id", "The round it belongs to."),
        _id("station_id", "The numbered place."),
        Column("station", Kind.WORD, "The place as in Card 4.", station_name("method", "station__number")),
        *_facility("station__"),
        _method(),
        Column("how", Kind.WORD, "All counted, a part, or by the cup.", words=tuple(How.values)),
        Column("count", Kind.WHOLE, "What was counted. Missing where there is no count, never 0 for it.", always=False,
               least=0),
        Column("fraction", Kind.NUMBER, "The part of the card that was counted.", Cast(F("fraction"), FloatField()),
               least=0.0001, most=1),
        Column("at_least", Kind.YES_NO, "Too many to count: there were at least so many."),
        Column("reason", Kind.WORD, "Why there is no count.", unless_blank("reason"), always=False,
               words=tuple(NoCount.values)),
        Column("hung_on", Kind.DAY, "Hung on this day; missing for leg counts.", always=False),
        Column("taken_on", Kind.DAY, "Taken down, or counted, on this day in the farm's time zone."),
        Column("days", Kind.WHOLE, "Days up.", days_between("hung_on", "taken_on"), always=False, least=1),
        Column("animals", Kind.WHOLES, "Flies on all four legs, a number an animal; of leg counts.", always=False),
        Column("sides", Kind.WHOLE, "Sides of a card that were counted.", least=1),
        Column("pen", Kind.TEXT, "Of leg counts.", unless_blank("pen"), always=False),
        Column("time_of_day", Kind.CLOCK, "Of leg counts.", always=False),
        Column("weather", Kind.TEXT, "Of leg counts.", unless_blank("weather"), always=False),
        Column("bunching", Kind.YES_NO, "Whether animals bunched.", always=False),
        Column("sprayed", Kind.YES_NO, "Whether animals were sprayed or poured that week.", always=False),
        Column("zone", Kind.WORD, "The time zone of the days."),
        _id("corrects_id", "The reading that this one corrects; it isn't in this table.", always=False),
        Column("correction_kind", Kind.WORD, "Why it was corrected.", unless_blank("correction_kind"), always=False,
               words=tuple(CorrectionKind.values)),
        Column("received_at", Kind.MOMENT, "When it came in."),
    ),
    lambda farm: readings_of(farm).order_by("taken_on", "id"),
    {"since": "taken_on__gte", "until": "taken_on__lte", "method": "method"},
    points_to={"round_id": "rounds", "station_id": "stations"},
)  # fmt: skip
ROUNDS = Table(
    "rounds",
    "Each walk of the farm's places on one day.",
    (
        _id(),
        Column("walked_on", Kind.DAY, "The day in the farm's time zone."),
        Column("source", Kind.WORD, "The way it came in.", words=tuple(Source.values)),
        Column("actor_kind", Kind.WORD, "Who sent it, without a name.", words=tuple(ActorKind.values)),
        Column("typed_on", Kind.DAY, "When it was typed from paper.", always=False),
        Column("observed_at", Kind.MOMENT, "By the sender's clock.", always=False),
        Column("submitted_at", Kind.MOMENT, "When it was first sent, by the sender's clock.", always=False),
        Column("received_at", Kind.MOMENT, "When it came in."),
    ),
    lambda farm: rounds_of(farm).order_by("walked_on", "id"),
    {"since": "walked_on__gte", "until": "walked_on__lte"},
)


SITING = ("since", "windy", "near", "out_of_reach", "x", "y")


def _stations(farm: Farm) -> Rows:
    newest = Siting.objects.filter(farm_id=OuterRef("farm_id"), station_id=OuterRef("id")).order_by("-since", "-id")
    siting = {f"siting_{name}": Subquery(newest.values(name)[:1]) for name in SITING}
    return Station.objects.filter(farm_id=farm.id).annotate(**siting).order_by("method", "number")


STATIONS = Table(
    "stations",
    "The numbered places, those out of use too, with how each stands now.",
    (
        _id(),
        Column("station", Kind.WORD, "Card 4.", station_name("method", "number")),
        *_facility(""),
        Column("facility_kind", Kind.WORD, "What kind of barn or lot.", F("facility__kind"),
               words=tuple(FacilityKind.values)),
        _method(),
        Column("number", Kind.WHOLE, "Its number, once a method.", least=1),
        Column("position", Kind.WHOLE, "Place in the walking order.", least=0),
        Column("since", Kind.DAY, "The first day of its use."),
        Column("until", Kind.DAY, "The last day of its use; missing while it is in use.", always=False),
        Column("siting_since", Kind.DAY, "It stands so from this day on.", always=False),
        Column("windy", Kind.YES_NO, "In wind or draught.", F("siting_windy"), always=False),
        Column("near", Kind.WORD, "What close by draws flies.", F("siting_near"), always=False,
               words=tuple(Near.values)),
        Column("out_of_reach", Kind.YES_NO, "Of animals and children.", F("siting_out_of_reach"), always=False),
        Column("x", Kind.NUMBER, "On the farm's plan, from 0 (left) to 1.", F("siting_x"), always=False, least=0,
               most=1),
        Column("y", Kind.NUMBER, "On the farm's plan, from 0 (top) to 1.", F("siting_y"), always=False, least=0,
               most=1),
    ),
    _stations,
    {"method": "method"},
)  # fmt: skip
WEEKS = Table(
    "weeks",
    "The farm's figures, a row an ISO 8601 week and method, as counted: not judged.",
    (
        _method(),
        Column("week", Kind.DAY, "The Monday of the week that holds the middle of the days up."),
        Column("stations", Kind.WHOLE, "Places counted.", least=0),
        Column("devices", Kind.WHOLE, "Cards, traps or leg counts read.", least=0),
        Column("missing", Kind.WHOLE, "Those without a count. Missing is not zero.", least=0),
        Column("counted", Kind.WHOLE, "All counts added; missing where nothing was counted.", always=False, least=0),
        Column("days", Kind.WHOLE, "The days that they hung, added.", least=0),
        Column("animals", Kind.WHOLE, "Animals looked at for leg counts.", least=0),
        Column("mean", Kind.NUMBER, "Mean over places: specks a card and 7 days, flies a trap and 7 days, or flies an "
               "animal.", always=False, least=0),
        Column("at_least", Kind.YES_NO, "A lower bound: somewhere there were too many to count."),
        Column("last_received_at", Kind.MOMENT, "When the last of its readings came in."),
    ),
    summaries_of,
    {"since": "week__gte", "until": "week__lte", "method": "method"},
    weekly=True,
    key=("method", "week"),
)  # fmt: skip
WORKS = Table(
    "works",
    "What was done against flies; pesticide applications have a record of their own.",
    (
        _id(),
        *_facility("", always=False),
        Column("kind", Kind.WORD, "What was done.", words=tuple(WorkKind.values)),
        Column("done_on", Kind.DAY, "The day in the farm's time zone."),
        Column("thorough", Kind.YES_NO, "Missing where nobody said.", always=False),
        Column("not_reached", Kind.TEXT, "Of a clean-out, what could not be reached.", always=False),
        Column("species", Kind.TEXT, "Of wasps.", always=False),
        Column("number", Kind.WHOLE, "Of wasps; missing where nobody counted.", always=False, least=1),
        Column("batch", Kind.TEXT, "Of wasps: the supplier's.", always=False),
        _id("planned_id", "The plan that it is of, where it was planned.", always=False),
        Column("planned_for", Kind.DAY, "The day of the plan that it stands for.", always=False),
        Column("taken_back", Kind.YES_NO, "Noted by mistake: it counts nowhere."),
        Column("actor_kind", Kind.WORD, "Who noted it, without a name.", words=tuple(ActorKind.values)),
        Column("recorded_at", Kind.MOMENT, "When it was noted."),
    ),
    lambda farm: works_on_record(farm).order_by("done_on", "id"),
    {"since": "done_on__gte", "until": "done_on__lte"},
    points_to={"planned_id": "planned-works"},
)
PLANNED_WORKS = Table(
    "planned-works",
    "Work that was planned, once or again and again. What was done of it stands in works, and names the plan.",
    (
        _id(),
        *_facility("", always=False),
        Column("kind", Kind.WORD, "What is to be done.", words=tuple(str(kind) for kind, _name in PLAN_KINDS)),
        Column("first_day", Kind.DAY, "The first day, in the farm's time zone."),
        Column("every", Kind.WHOLE, "Every so many units; missing where it is done once.", always=False, least=1),
        Column("unit", Kind.WORD, "Days, weeks or months.", unless_blank("unit"), always=False,
               words=tuple(Unit.values)),
        Column("last_day", Kind.DAY, "The last day; missing where it is done once.", always=False),
        Column("species", Kind.TEXT, "Of wasps.", unless_blank("species"), always=False),
        Column("number", Kind.WHOLE, "Of wasps, each time.", always=False, least=1),
        Column("actor_kind", Kind.WORD, "Who planned it, without a name.", words=tuple(ActorKind.values)),
        Column("recorded_at", Kind.MOMENT, "When it was planned."),
    ),
    lambda farm: planned_works_of(farm).order_by("first_day", "id"),
    {"since": "first_day__gte", "until": "first_day__lte"},
)  # fmt: skip
PLANNED_STEPS = Table(
    "planned-steps",
    "Days of plans that were left out, and the day from which on a plan was ended.",
    (
        _id(),
        _id("planned_id", "The plan."),
        Column("kind", Kind.WORD, "Left out this once, or ended from that day on.", words=tuple(StepKind.values)),
        Column("day", Kind.DAY, "Which day."),
        Column("actor_kind", Kind.WORD, "Who said so, without a name.", words=tuple(ActorKind.values)),
        Column("recorded_at", Kind.MOMENT, "When it was said."),
    ),
    lambda farm: planned_steps_of(farm).order_by("day", "id"),
    {"since": "day__gte", "until": "day__lte"},
    points_to={"planned_id": "planned-works"},
)
APPLICATIONS = Table(
    "applications",
    "Sprays, pour-ons and baits: the records that hold. One that was changed, or that the farm said is not so, isn't "
    "here. Names of people stay on the farm.",
    (
        _id(),
        *_facility("", always=False),
        Column("place", Kind.TEXT, "Which part of it.", unless_blank("place"), always=False),
        Column("product", Kind.TEXT, "As on the label.", F("name")),
        Column("registration_number", Kind.TEXT, "From the label."),
        Column("substances", Kind.TEXT, "Active substances."),
        Column("irac_groups", Kind.TEXT, "Mode-of-action groups, with commas between them.", listed("irac_groups")),
        Column("kind", Kind.WORD, "What it is for.", words=tuple(ProductKind.values)),
        Column("amount", Kind.NUMBER, "In all.", Cast(F("amount"), FloatField()), least=0),
        Column("amount_unit", Kind.WORD, "Of the amount; measures of volume are those of the United States where they "
               "aren't metric.", words=tuple(AmountUnit.values)),
        Column("area", Kind.NUMBER, "Its size.", Cast(F("area"), FloatField()), always=False, least=0),
        Column("area_unit", Kind.WORD, "Of the area.", unless_blank("area_unit"), always=False,
               words=tuple(AreaUnit.values)),
        Column("animals", Kind.WHOLE, "How many.", always=False, least=1),
        Column("target", Kind.WORD, "Against what.", words=tuple(Target.values)),
        Column("begins_at", Kind.MOMENT, "When it began."),
        Column("ends_at", Kind.MOMENT, "When it ended."),
        Column("reentry_hours", Kind.WHOLE, "Kept out, from the label.", always=False, least=1),
        Column("reentry_words", Kind.TEXT, "What the label says about going in again.", unless_blank("reentry_words"),
               always=False),
        Column("milk_until", Kind.MOMENT, "Milk withheld until, by the label's hours.", always=False),
        Column("meat_until", Kind.MOMENT, "Meat withheld until, by the label's days.", always=False),
        Column("from_paper", Kind.YES_NO, "Typed from a record on paper."),
        Column("through_link", Kind.YES_NO, "Filled in by a hired sprayer."),
        Column("confirmed", Kind.YES_NO, "What an owner said to that; missing where nothing.", always=False),
        Column("actor_kind", Kind.WORD, "Who noted it, without a name.", words=tuple(ActorKind.values)),
        Column("recorded_at", Kind.MOMENT, "When it was noted."),
    ),
    lambda farm: standing_applications_of(farm).order_by("begins_at", "id"),
    {"since": "begins_at__date__gte", "until": "begins_at__date__lte"},
)  # fmt: skip
PHOTOS = Table(
    "photos",
    "The photos taken on rounds, without their pictures: each of those is read by itself.",
    (
        _id(),
        _id("round_id", "The round it was taken on."),
        _id("station_id", "The numbered place, where it is of one.", always=False),
        _id("facility_id", "The barn or lot, where it was said.", always=False),
        Column("kind", Kind.WORD, "What it shows.", words=tuple(PhotoKind.values)),
        Column("taken_at", Kind.MOMENT, "By the sender's clock."),
        Column("width", Kind.WHOLE, "In pixels.", least=1),
        Column("height", Kind.WHOLE, "In pixels.", least=1),
        Column("erased", Kind.YES_NO, "Whether its picture was erased."),
        Column("actor_kind", Kind.WORD, "Who sent it, without a name.", words=tuple(ActorKind.values)),
        Column("received_at", Kind.MOMENT, "When it came in."),
    ),
    lambda farm: photos_of(farm).order_by("taken_at", "id"),
    {"since": "round__walked_on__gte", "until": "round__walked_on__lte"},
    points_to={"round_id": "rounds", "station_id": "stations"},
)
FINDINGS = Table(
    "findings",
    "What fly walks found at each place looked at, as it stands: what was corrected isn't here, what replaced it is. "
    "Without the words that were said of it.",
    (
        _id("id", "Its id, which stays however often it is corrected.", source=F("known")),
        _id("walk_id", "The walk it was found on."),
        *_facility("", always=False),
        _id("station_id", "Near which card, trap or leg count.", always=False),
        Column("seen_on", Kind.DAY, "The day in the farm's time zone."),
        Column("place", Kind.WORD, "What kind of place.", words=tuple(Place.values)),
        Column("nothing", Kind.YES_NO, "Looked at, and nothing found. A place that nobody looked at has no row."),
        Column("material", Kind.WORD, "What lies there.", unless_blank("material"), always=False,
               words=tuple(Material.values)),
        Column("moisture", Kind.WORD, "Wet or dry.", unless_blank("moisture"), always=False,
               words=tuple(Moisture.values)),
        Column("larvae", Kind.WORD, "Missing where nobody looked for them, never none for it.", unless_blank("larvae"),
               always=False, words=tuple(Amount.values)),
        Column("pupae", Kind.WORD, "Likewise.", unless_blank("pupae"), always=False, words=tuple(Amount.values)),
        Column("x", Kind.NUMBER, "On the farm's plan, from 0 (left) to 1.", always=False, least=0, most=1),
        Column("y", Kind.NUMBER, "On the farm's plan, from 0 (top) to 1.", always=False, least=0, most=1),
        Column("state", Kind.WORD, "How it stands, by its newest step.", words=tuple(FindingState.values)),
        Column("state_on", Kind.DAY, "The day of that step; missing where there is none.", F("last_on"), always=False),
        Column("due", Kind.DAY, "The day of what comes next.", always=False),
        Column("actor_kind", Kind.WORD, "Who noted it, without a name.", words=tuple(ActorKind.values)),
        Column("recorded_at", Kind.MOMENT, "When it was noted."),
    ),
    lambda farm: findings_of(farm).order_by("seen_on", "id"),
    {"since": "seen_on__gte", "until": "seen_on__lte"},
    points_to={"station_id": "stations"},
)  # fmt: skip
RESULTS = Table(
    "results",
    "What the weekly check concluded: each week's latest revision, for the whole farm and for each facility.",
    (
        _id(),
        *_facility("", always=False),
        _method(),
        Column("week", Kind.DAY, "The Monday of the ISO 8601 week."),
        Column("revision", Kind.WHOLE, "More than 1 where a later reading had the week judged again.", least=1),
        Column("judged_at", Kind.MOMENT, "When."),
        Column("mean", Kind.NUMBER, "In the method's unit; missing where nothing was counted.", always=False, least=0),
        Column("low", Kind.NUMBER, "Lower end of the mean's 95 % interval.", always=False),
        Column("high", Kind.NUMBER, "Upper end of it.", always=False),
        Column("at_least", Kind.YES_NO, "The mean is a lower bound."),
        Column("devices", Kind.WHOLE, "Cards, traps or animals counted.", least=0),
        Column("missing", Kind.WHOLE, "Cards or traps without a count.", least=0),
        Column("few_devices", Kind.YES_NO, "Fewer than five of them."),
        Column("level", Kind.NUMBER, "The action level of that week.", always=False),
        Column("level_of", Kind.WORD, "Whose level: facility, farm, group or default."),
        Column("result", Kind.WORD, "How the mean stands to the level.", words=tuple(LevelWord.values)),
        Column("trend", Kind.WORD, "The whole farm's; missing for a facility.", unless_blank("trend"), always=False,
               words=tuple(TrendWord.values)),
        Column("growth", Kind.NUMBER, "Log growth a week over the last eight weeks.", always=False),
        Column("growth_low", Kind.NUMBER, "Lower end of its 95 % interval.", always=False),
        Column("growth_high", Kind.NUMBER, "Upper end of it.", always=False),
        Column("p_value", Kind.NUMBER, "Two-sided, of no growth.", always=False, least=0, most=1),
        Column("p_rise", Kind.NUMBER, "Share of level farms that would rise so by chance.", always=False, least=0,
               most=1),
        Column("p_fall", Kind.NUMBER, "Likewise for a fall.", always=False, least=0, most=1),
        Column("over_probability", Kind.NUMBER, "That the true mean is over the action level.", always=False, least=0,
               most=1),
        Column("weeks_observed", Kind.WHOLE, "Of the last twelve.", least=0),
        Column("borrowed", Kind.WORD, "Which figures of the group it is judged with.", unless_blank("borrowed"),
               always=False),
        Column("code_version", Kind.WORD, "Which version of the service judged."),
    ),
    lambda farm: latest(Assessment.objects.filter(farm_id=farm.id)),
    {"since": "week__gte", "until": "week__lte", "method": "method"},
    weekly=True,
)  # fmt: skip
ALL_TABLES = (
    READINGS, ROUNDS, STATIONS, WEEKS, WORKS, PLANNED_WORKS, PLANNED_STEPS, APPLICATIONS, FINDINGS, PHOTOS, RESULTS,
)  # fmt: skip
TABLES = {table.name: table for table in ALL_TABLES}
