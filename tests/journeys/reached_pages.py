"""Every page that somebody reaches, by who reaches it, and a scene in which none of them is empty.

`test_every_page.py` opens them, and holds the list against server/web/urls.py: a page that is new has to be in PAGES,
or in NOT_OPENED with a reason.
"""

import inspect
import json
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.urls import URLPattern, URLResolver, reverse
from django.utils import timezone

from alerts.delivery.choice_address import Reader, choice_token
from alerts.delivery.digest import queue_digests
from alerts.delivery.monday_list import queue_monday_lists
from alerts.models import CoordinatorReport, Digest, MondayList, RoundsTold
from alerts.models.mail_choice import MailKind
from alerts.models.stopped_address import StopReason
from alerts.models.webhook import Happening
from alerts.services import NewLevel, NewWebhook, Noted, make_webhook, name_text_number, note_call, set_farm_level
from alerts.services.choice_key import keys_to_sign
from alerts.services.stopped_address import Failure, stop_address
from farms import services
from farms.agreement import IN_FORCE
from farms.ids import uuid7
from farms.ledger import Actor
from farms.models import AdviserOffer, Facility, Farm, GroupMember, OpenPromise, User
from farms.models.chain import ActorKind
from farms.services.visit import Plan, plan_visit, set_visit_rules
from monitoring.models import Placement, Round, Station
from monitoring.models.imports import ImportPart
from monitoring.rules.pictures import Picture
from monitoring.rules.temperatures import table_of_days
from monitoring.services import (
    Drawn,
    HungSent,
    ImportPlan,
    ImportSent,
    PhotoSent,
    ReentryTyped,
    RoundSent,
    WorkDone,
    WorkPlanned,
    Writer,
    add_photo,
    as_planned,
    draw_plan,
    keep_own_table,
    lay_picture,
    leave_out,
    list_product,
    make_sprayer_link,
    plan_work,
    record_application,
    record_reentry,
    record_round,
    record_temperatures,
    record_work,
    request_import,
    take_back_work,
)
from server.web import urls
from tests.alerts.scene import alerts, check, count_week, monday
from tests.cast import NOW, acting, as_factory, as_role, make_facility, make_farm, make_stations, make_user
from tests.journeys.walked import walked_and_complained
from tests.monitoring.applying import applied
from tests.monitoring.pictures import jpeg, png
from tests.regions import season

TODAY = NOW.date()
LATER = TODAY + timedelta(days=9)
OF_A_FARM = (
    "farm start start_farm start_buildings start_stations start_people count paper print import own_table_file "
    "own_table import_progress plan plan_edit skip work kept_out mend_kept_out applications new_application "
    "new_application_of application mend_application sprayer_links organic worth temperatures data rounds round "
    "round_end correct erase_photo alert sent_digests sent_digest call_notes visits settings stations siting people "
    "invitations phones levels mail_day seasons closure closure_lift consents agreement accepted_agreement keys "
    "webhooks log work_mistake planned_works planned_work work_review walks walk_new walk finding correct_finding "
    "mend_finding_step erase_finding_photo complaints complaint mend_complaint mend_complaint_answer erase_farm "
    "erase_person farm_kept cards_kept season_report"
)
PAGES = {
    "owner": f"{OF_A_FARM} farms feeds your_mails shown account text_messages search?q=card look mails mail tag "
    "waiting account_logout region past_season",
    "adviser": "monday farm call_notes visits sent_lists sent_list terms",
    "coordinator": "group group_start new_farm group_invitations regions_compared rules rule running "
    "running_everywhere visit_rules terms advisers adviser guests region_temperatures region_closure "
    "region_closure_lift sent_reports sent_report products product group_kept",
    "phone": "phone count plan round_end shown",
    "nobody": "home account_request_login_code account_confirm_login_code sign_in_link account_signup account_inactive "
    "phone invitation spray_record mail_choice without_signal waiting",
}
NOT_OPENED = {
    "a file for another program, for paper or for a page to show": "print_file plan_levels plan_print plan_picture "
    "stations_file temperatures_chart_file season_file photo small_photo letter letters bulletin past_season_pdf "
    "print_agreement agreement_scan finding_photo small_finding_photo worker manifest",
    "a mail in its frame, with no style of ours; the page around it is opened": "sent_digest_html sent_list_html "
    "sent_report_html mail_html",
    "an answer to a script": "waiting_session",
    "leads to the page on which somebody signs in": "account_login",
}


def listed(*lists: str) -> set[str]:
    """The names of routes in lists of pages."""
    return {entry.partition("?")[0] for each in lists for entry in each.split()}


def page_routes(patterns: Any = urls.urlpatterns, names: tuple[str, ...] = ()) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each route that answers when somebody looks, with the names of what stands in its address."""
    for pattern in patterns:
        inside = (*names, *pattern.pattern.converters)
        if isinstance(pattern, URLResolver):
            yield from page_routes(pattern.url_patterns, inside)
        elif isinstance(pattern, URLPattern) and _is_looked_at(pattern.callback):
            yield str(pattern.name), inside


def _is_looked_at(view: Any) -> bool:
    """Whether none of the view's decorators keeps to other methods than GET."""
    while inspect.isfunction(view):
        taken = inspect.getclosurevars(view).nonlocals.get("request_method_list")
        if taken is not None and "GET" not in taken:
            return False
        view = getattr(view, "__wrapped__", None)
    return True


def address(entry: str, ids: dict[str, Any]) -> str:
    """Where a page of the list is; a key stands under the name of its page."""
    name, _, query = entry.partition("?")
    parts = dict(page_routes())[name]
    found = reverse(name, kwargs={part: ids[name if part == "key" else part] for part in parts})
    return f"{found}?{query}" if query else found


def scene(group: Any, northfield: Farm, cards: list[Station], people: dict[str, User]) -> dict[str, Any]:
    """Northfield after six weeks, its cards over the level, with a record of each kind; what stands in addresses."""
    anna, dana, erik = (people[name] for name in ("owner", "adviser", "coordinator"))
    with as_factory():
        User.objects.filter(id=erik.id).update(is_staff=True)
    readings = _counted(group, northfield, cards)
    ids = {
        "farm_id": northfield.id, "region_id": northfield.region_id, "group_id": group.id, "year": 2026,
        "rule": "siting", "name": "20260601.log", "number": 0, "station_id": cards[0].id,
        "round_id": readings[0].round_id, "reading_id": readings[0].id,
        "alert_id": alerts(northfield, still_open=True)[0].id,
    }  # fmt: skip
    ids |= _of_the_group(group, northfield, anna, dana, erik)
    with acting(anna):
        ids |= _of_the_owner(northfield, cards, readings[0].round_id, anna)
    with acting(dana):
        note_call(farm=northfield, noted=Noted("The back wall is wet.", "ask again", LATER), by=dana, now=NOW)
        plan_visit(farm=northfield, plan=Plan("visit", LATER, "Elsewhere", TODAY), by=dana, now=NOW)
    ids |= _mails(group, northfield, anna, dana, erik)
    flats = make_farm("Sorrel Flats", northfield.region, anna)
    hung = make_stations(make_facility(flats, "Barn", "calf_barn", 1), "card", range(1, 3))
    sent = RoundSent(uuid7(), TODAY, "form", hung=tuple(HungSent(uuid7(), each.id, TODAY) for each in hung))
    with acting(anna):  # where she counted last, so that a tag of Northfield asks
        record_round(farm=flats, sent=sent, actor=Actor(ActorKind.FARM_STAFF, anna.id), now=NOW)
    return ids


def _counted(group: Any, farm: Farm, cards: list[Station]) -> Any:
    for number, specks in enumerate((20, 33, 45, 80, 115, 130), start=2):
        readings = count_week(cards, monday(number), [specks, specks * 4, specks, specks, "lost"])
        check(group, monday(number))
    with as_factory():
        Placement.objects.bulk_create(
            Placement(farm=farm, station_id=card.id, hung_on=monday(7), zone="UTC", entry=1) for card in cards
        )
    days = table_of_days((TODAY - timedelta(days=back), 18.5, 31.5) for back in range(1, 22))
    record_temperatures(region=farm.region, table=days, now=NOW)
    season(farm.region)
    return readings


def _of_the_group(group: Any, farm: Farm, anna: User, dana: User, erik: User) -> dict[str, Any]:
    """Terms, rules, invitations, a guest, rounds told, and an adviser who left with a promise open."""
    now, ends = timezone.now(), timezone.now() + timedelta(days=9)
    with acting(erik):
        terms = services.NewTerms("ODbL-1.0", sells_products=False, contact="Office, 555 0100", valid_from=TODAY)
        services.set_terms(group=group, terms=terms, by=erik, now=NOW)
        set_visit_rules(group=group, text="Boots are washed at the gate.", by=erik, now=NOW)
        invited = services.GroupInvited("greta.of.the.long.name@example.org", "Greta", "adviser", "en")
        _row, key = services.invite_to_group(group=group, invited=invited, by=erik, now=now)
        services.invite_guest(group=group, email="gus@example.org", name="Gus", ends_at=ends, now=now)
        services.close_region(region=farm.region, from_on=date(2026, 9, 1), by=erik, now=NOW)
    left = make_user("Lena")
    with as_factory():
        RoundsTold.objects.create(
            group=group, region=farm.region, of="region", week=monday(7), farms=12, came=9, overdue=3
        )
        AdviserOffer.objects.create(
            farm=farm, left=left, left_at=NOW, successor=dana, offered_by=erik, offered_at=NOW, begins_on=LATER
        )
        OpenPromise.objects.create(farm=farm, left=left, kind="call", day=LATER, noted_at=NOW)
        role = GroupMember.objects.get(group=group, user=dana)
    with acting(dana):
        services.say_what_you_sell(group=group, sells_products=True, by=dana, now=NOW)
    return {"group_adviser_id": role.id, "invitation": key}


def _of_the_owner(farm: Farm, cards: list[Station], round_id: UUID, anna: User) -> dict[str, Any]:
    """A record of each kind that an owner makes on a farm."""
    staff, now = Actor(ActorKind.FARM_STAFF, anna.id), timezone.now()
    person = services.add_person(farm=farm, name="Lucia of the long name", initials="LU", now=NOW)
    accepted = services.accept_agreement(farm=farm, yes=services.Yes(IN_FORCE, "en"), by=anna, now=NOW)
    services.join_comparison(farm=farm, by=anna, now=NOW)
    services.close_farm(farm=farm, from_on=date(2026, 9, 1), by=anna, now=NOW)
    invited = services.Invitee("rosa.of.the.long.name@example.org", "Rosa", "recorder", "es")
    services.invite_to_farm(farm=farm, invited=invited, by=anna, now=now)
    ends = now + timedelta(days=30)
    services.make_token(farm=farm, name="Barn screen", scope="read", by=anna, expires_at=ends, now=now)
    services.make_feed(user=anna, kind="calendar", now=now)
    make_webhook(farm=farm, new=NewWebhook("https://hooks.example.org/1", tuple(Happening.values)), by=anna, now=NOW)
    set_farm_level(farm=farm, level=NewLevel("card", 77.0, "The neighbour asked", TODAY), by=anna, now=NOW)
    name_text_number(user=anna, number="+12025550143", now=NOW)
    lot = Facility.objects.get(farm=farm, kind="dry_lot")
    typed = ReentryTyped(NOW, NOW + timedelta(hours=12), "do not enter until dry", lot)
    reentry = record_reentry(farm=farm, typed=typed, actor=staff, now=NOW)
    photo = PhotoSent(uuid7(), "card", NOW, jpeg(), station=cards[0])
    walked = Round.objects.get(farm_id=farm.id, id=round_id)
    lay_picture(farm=farm, picture=Picture("png", png(), 64, 48), by=anna, now=NOW)
    corners = [[0.1, 0.1], [0.4, 0.1], [0.4, 0.5]]
    places = {card.id: (0.2 * number, 0.3) for number, card in enumerate(cards, start=1) if number < 5}
    draw_plan(farm=farm, drawn=Drawn([{"name": "Silo", "points": corners}], places), by=anna, now=NOW)
    table = b"date,card,barn,count\n2026-05-25,1,Calf barn,41\n2026-05-25,9,Parto,some\n"
    return {
        "person_id": person.id,
        "acceptance_id": accepted.id,
        "reentry_id": reentry.id,
        **_applied(farm, lot, staff, anna),
        **_work(farm, lot, staff),
        "photo_id": add_photo(walked=walked, sent=photo, actor=staff, now=NOW).id,
        **walked_and_complained(farm, cards[0], staff),
        "own_table_id": keep_own_table(farm=farm, user=anna, name="moscas.csv", content=table, now=now).id,
        "import_id": _file_on_its_way(farm, anna),
    }


def _applied(farm: Farm, lot: Facility, staff: Actor, anna: User) -> dict[str, Any]:
    """A product on the group's list, a hired sprayer's record that waits for a word, and a link for another."""
    product = list_product(group=farm.group, label=applied().label, by=anna, now=NOW)
    hired = Writer(staff, through_link=True)
    record = record_application(farm=farm, applied=applied(facility=lot), by=hired, now=NOW)
    _link, key = make_sprayer_link(farm=farm, by=anna, actor=staff, now=timezone.now())
    return {"product_id": product.id, "application_id": record.id, "spray_record": key}


def _work(farm: Farm, lot: Facility, staff: Actor) -> dict[str, Any]:
    """A programme of wasps, its first release done, a clean-out overdue, one taken back, and one that is usual."""
    weekly = {"every": 1, "unit": "week", "last_day": TODAY + timedelta(weeks=9)}
    long = "behind the hutches along the north wall, and under the feed bunk where the scraper can't reach"
    wasps = plan_work(farm=farm, plan=WorkPlanned("wasps", TODAY, lot, **weekly, number=20_000), actor=staff, now=NOW)
    record_work(farm=farm, work=as_planned(wasps, TODAY, TODAY), actor=staff, now=NOW)
    earlier = NOW - timedelta(days=9)
    overdue = WorkPlanned("clean_out", earlier.date(), lot, words=long)
    plan_work(farm=farm, plan=overdue, actor=staff, now=earlier)
    leave_out(planned=wasps, day=TODAY + timedelta(weeks=1), why="none were sent", actor=staff, now=NOW)
    cleaned = [
        record_work(farm=farm, work=WorkDone("bedding", TODAY - timedelta(days=back), lot), actor=staff, now=NOW)
        for back in (21, 14, 1)
    ]
    take_back_work(work=cleaned[-1], why="tapped the wrong lot", actor=staff, now=NOW)
    return {"planned_work_id": wasps.id, "work_id": cleaned[0].id}


def _file_on_its_way(farm: Farm, anna: User) -> UUID:
    file = b"station,hung on,taken on,count\nCard 99,2026-05-18,2026-05-25,41\n"
    sent = ImportSent(content=file, form="csv", plan=ImportPlan(), language="en")
    imported = request_import(farm=farm, sent=sent, who=anna, now=NOW)
    wrong = {"column": "station", "value": "Card 99", "code": "not_a_station", "reason": "Card 99 is no station."}
    results = json.dumps([{"row": 2, "id": None, "outcome": "refused", "errors": [wrong]}])
    with as_factory():
        ImportPart.objects.create(farm=farm, import_id=imported.id, first=0, rows=1, results=results)
    return imported.id


def _mails(group: Any, farm: Farm, anna: User, dana: User, erik: User) -> dict[str, Any]:
    """What was mailed to each, as the check wrote it; nothing reaches Anna any more."""
    with as_role("worker"):
        queue_digests(group, [farm], week=monday(7), now=NOW)
        queue_monday_lists(group, week=monday(7), now=NOW)
    with as_factory():
        (digest,), (list_of_dana,) = Digest.objects.filter(recipient=anna), MondayList.objects.filter(recipient=dana)
        report = CoordinatorReport.objects.create(
            group=group, recipient=erik, occasion="2026-W22", language="en", subject="5 of 6 rounds came",
            text="6 farms in season", html="<head></head><p>6 farms in season</p>", queued_at=NOW, next_try_at=NOW,
        )  # fmt: skip
    stop_address(user=anna, failure=Failure(StopReason.BOUNCED, "550 5.1.1", NOW), now=NOW)
    return {
        "digest_id": digest.id,
        "monday_list_id": list_of_dana.id,
        "coordinator_report_id": report.id,
        "mail_choice": choice_token(Reader(anna.id, MailKind.DIGEST, farm.id), keys_to_sign(NOW)),
    }
