"""Two farms with real records of every chained kind, made by the services, and days signed over them."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from alerts.checks.escalation import escalate_unseen
from alerts.services import (
    NewLevel,
    Noted,
    Telling,
    acknowledge,
    link_work,
    mark_told,
    note_call,
    set_farm_level,
    set_mail_day,
)
from farms import services
from farms.agreement import IN_FORCE
from farms.heads import key_id
from farms.ids import uuid7
from farms.ledger import Actor
from farms.models import DailyHead, Facility, Farm, Group, User
from farms.models.chain import ActorKind
from farms.services import PaperSigned, keep_signed_paper
from monitoring.models import Reading, Station
from monitoring.rules.pictures import Picture
from monitoring.rules.walk import FindingSent, Said
from monitoring.selectors import complaints_of, findings_of
from monitoring.services import (
    AnswerTyped,
    CertifierTyped,
    ComplaintTyped,
    Drawn,
    FindingPhotoSent,
    HungSent,
    ImportPlan,
    NoteSent,
    PhotoSent,
    ReentryTyped,
    StepSent,
    WalkSent,
    WorkDone,
    WorkPlanned,
    Writer,
    add_finding_photo,
    add_photo,
    answer_complaint,
    check_application,
    correct_reading,
    draw_plan,
    lay_picture,
    leave_out,
    mark_organic,
    note_cards_kept,
    note_certifier_answer,
    plan_work,
    record_application,
    record_complaint,
    record_reentry,
    record_step,
    record_table,
    record_walk,
    record_work,
    table_of_rows,
    take_back_work,
)
from server.evidence.days import do_errands, sign_day
from server.evidence.keys import make_key, public_pem
from tests.alerts.scene import alerts, check, check_time, monday
from tests.cast import acting, as_role
from tests.isolation.later_records import PNG
from tests.monitoring.applying import applied
from tests.monitoring.pictures import jpeg
from tests.monitoring.sending import reading, send

WEEKS = 3
LAST = date(2026, 5, 30)  # the day on which the last head is signed
SCAN = b"%PDF-1.7 invented"


def noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


def with_key(settings: Any, folder: Path) -> str:
    """Signing is on: a new key, heads filed beside it. The key's id; its public key is in `public.pem`."""
    settings.HEADS_KEY = str(folder / "heads-key.pem")
    settings.HEADS_DIR = str(folder / "heads")
    Path(settings.HEADS_DIR).mkdir()
    public = make_key(Path(settings.HEADS_KEY)).public_key().public_bytes_raw()
    (folder / "public.pem").write_text(public_pem(public))
    return key_id(public)


def signed(moment: datetime) -> DailyHead:
    """The day's head, made and filed by the worker."""
    with as_role("worker"):
        head = sign_day(moment)
        assert head is not None
        do_errands(moment)
        head.refresh_from_db()
    return head


def weeks_of(farm: Farm, owner: User, cards: list[Station], *, begins: int = 0) -> None:
    """Cards hung, then counted and hung anew each week, over their level, with a note each time."""
    with acting(owner):
        hung = tuple(HungSent(uuid7(), card.id, monday(begins)) for card in cards)
        send(farm, on=monday(begins), now=noon(monday(begins)), hung=hung)
        for week in range(begins, begins + WEEKS):
            day = monday(week) + timedelta(days=7)
            found = [reading(card, 130 + 10 * place + week) for place, card in enumerate(cards)]
            notes = (NoteSent(uuid7(), f"windy, {farm.name} {week}", found[0].id), NoteSent(uuid7(), "cards wet", None))
            hung = tuple(HungSent(uuid7(), card.id, day) for card in cards)
            send(farm, *found, on=day, now=noon(day), hung=hung, notes=notes)


def records_of_people(farm: Farm, owner: User, cards: list[Station], barn: Facility) -> None:
    """One record of every kind that people make beside rounds."""
    at, actor = noon(date(2026, 5, 20)), Actor(ActorKind.FARM_STAFF, owner.id)
    with acting(owner):
        first = send(farm, on=date(2026, 5, 19), now=at, notes=(NoteSent(uuid7(), "a look only", None),))
        photo = PhotoSent(id=uuid7(), kind="card", taken_at=at, content=jpeg(), station=cards[0])
        add_photo(walked=first, sent=photo, actor=actor, now=at)
        record_work(farm=farm, work=WorkDone("clean_out", date(2026, 5, 19), barn, thorough=True), actor=actor, now=at)
        typed = ReentryTyped(at, at + timedelta(hours=12), "stay out for 12 hours", barn)
        record_reentry(farm=farm, typed=typed, actor=actor, now=at)
        set_farm_level(farm=farm, level=NewLevel("card", 77.5, "neighbours", at.date()), by=owner, now=at)
        note_cards_kept(farm=farm, words="a dry box, Pia has the key", from_on=at.date(), actor=actor, now=at)
        set_mail_day(farm=farm, weekday=3, by=owner, now=at)
        services.close_farm(farm=farm, from_on=date(2026, 9, 1), by=owner, now=at)
        lay_picture(farm=farm, picture=Picture("png", PNG, 300, 200), by=owner, now=at)
        outlines = [{"name": "silo", "points": [[0.1, 0.1], [0.4, 0.1], [0.4, 0.55]]}]
        draw_plan(farm=farm, drawn=Drawn(outlines, {cards[0].id: (0.2, 0.25)}), by=owner, now=at)
        agreed = services.give_consent(farm=farm, kind="regional", by=owner, now=at)
        services.withdraw_consent(consent=agreed, by=owner, now=at + timedelta(minutes=5))
        keep_signed_paper(
            farm=farm, paper=PaperSigned(IN_FORCE, "en", LAST, "Pia Invented", SCAN), by=owner, now=noon(LAST)
        )


def applied_there(farm: Farm, owner: User, barn: Facility) -> None:
    """A spray by a hired sprayer on a farm kept organic, with the certifier's answer and the owner's word."""
    at, actor = noon(date(2026, 5, 21)), Actor(ActorKind.FARM_STAFF, owner.id)
    asked = CertifierTyped("Invented Wall Spray", "00000-1", at.date(), at.date(), "allowed")
    what = applied(begins_at=at - timedelta(hours=2), ends_at=at - timedelta(hours=1), facility=barn)
    with acting(owner):
        mark_organic(farm=farm, is_organic=True, from_on=at.date(), actor=actor, now=at)
        note_certifier_answer(farm=farm, typed=asked, actor=actor, now=at)
        row = record_application(farm=farm, applied=what, by=Writer(actor, through_link=True), now=at)
        check_application(application=row, confirmed=True, reason="", actor=actor, now=at)


def planned_there(farm: Farm, owner: User, barn: Facility) -> None:
    """A plan with words, a day of it left out, and a work that was noted by mistake."""
    at, actor = noon(date(2026, 5, 22)), Actor(ActorKind.FARM_STAFF, owner.id)
    week = timedelta(weeks=1)
    weekly = WorkPlanned("clean_out", at.date(), barn, every=1, unit="week", last_day=at.date() + week, words="ask Pia")
    with acting(owner):
        plan = plan_work(farm=farm, plan=weekly, actor=actor, now=at)
        leave_out(planned=plan, day=at.date() + week, why="none here", actor=actor, now=at)
        wrong = record_work(farm=farm, work=WorkDone("bedding", at.date(), barn), actor=actor, now=at)
        take_back_work(work=wrong, why="noted twice", actor=actor, now=at)


def walked_there(farm: Farm, owner: User, barn: Facility) -> None:
    """A fly walk with a finding, its photo and a step; a complaint and what was answered; words with each."""
    at, actor = noon(date(2026, 5, 23)), Actor(ActorKind.FARM_STAFF, owner.id)
    said = Said("behind the pump", "scrape it", "Pia", "")
    finding = FindingSent(uuid7(), "other", larvae="some", facility=barn, due_on=at.date(), said=said)
    typed = ComplaintTyped(at.date(), "call", "neighbour", "flies on the porch", "Mr. Invented")
    with acting(owner):
        record_walk(farm=farm, sent=WalkSent(uuid7(), at.date(), (finding,), barn), actor=actor, now=at)
        found = findings_of(farm).get()
        add_finding_photo(finding=found, sent=FindingPhotoSent(uuid7(), jpeg()), actor=actor, now=at)
        record_step(finding=found, step=StepSent("done", at.date(), note="scraped"), actor=actor, now=at)
        record_complaint(farm=farm, typed=typed, actor=actor, now=at)
        answer = AnswerTyped(at.date(), "letter", "the counts were shown", "Pia")
        answer_complaint(complaint=complaints_of(farm).get(), typed=answer, actor=actor, now=at)


def imported(farm: Farm, owner: User) -> None:
    """A table of traps."""
    rows = [
        {"station": f"Trap {trap}", "hung_on": "2026-05-04", "taken_on": "2026-05-11", "count": 160 + trap}
        for trap in (1, 2)
    ]
    at, actor = noon(date(2026, 5, 21)), Actor(ActorKind.FARM_STAFF, owner.id)
    with acting(owner):
        result = record_table(farm=farm, table=table_of_rows(rows), plan=ImportPlan(), actor=actor, now=at)
    assert result.stored == len(rows)


def what_came_of_it(group: Group, farm: Farm, owner: User, adviser: User) -> None:
    """Alerts by the weekly check, what somebody did about them, and what the adviser noted."""
    for week in range(WEEKS):
        check(group, monday(week))
    opened = alerts(farm, still_open=True)
    at = check_time(monday(WEEKS - 1)) + timedelta(hours=2)
    with as_role("worker"):
        escalate_unseen(group, at + timedelta(days=9))
    actor = Actor(ActorKind.FARM_STAFF, owner.id)
    with acting(owner):
        acknowledge(alert=opened[0], note="look at the corner", actor=actor, now=at)
        work = record_work(farm=farm, work=WorkDone("bedding", at.date()), actor=actor, now=at)
        link_work(alert=opened[0], work=work, actor=actor, now=at)
    with acting(adviser):
        telling = Telling(monday(WEEKS - 1), "call", monday(WEEKS))
        mark_told(farm=farm, telling=telling, by=adviser, now=at)
        step = at.date() + timedelta(days=3)
        note_call(farm=farm, noted=Noted("will look", "look behind the hutches", step), by=adviser, now=at)


def correct_first(farm: Farm, owner: User) -> None:

    with acting(owner):
        first = Reading.objects.filter(farm_id=farm.id).order_by("id").first()
        assert first is not None
        correct_reading(
            farm=farm, reading_id=first.id, correction=reading(first.station, 99), kind="miscounted",
            actor=Actor(ActorKind.FARM_STAFF, owner.id), now=noon(date(2026, 5, 22)),
        )  # fmt: skip
