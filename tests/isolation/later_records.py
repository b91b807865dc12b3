"""What comes into the isolation scene beside a season's records: a file on its way, webhooks, the office's notes."""

import base64
import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING
from uuid import UUID

from django.test import override_settings
from django.utils import timezone

from alerts.models import CallNote
from alerts.models.webhook import Happening
from alerts.services import NewWebhook, make_webhook
from farms.agreement import IN_FORCE
from farms.credentials import key_hash, new_key
from farms.ids import uuid7
from farms.ledger import Actor
from farms.models import (
    AdviserOffer,
    ErasureRequest,
    Facility,
    GroupInvitation,
    GroupTerms,
    OpenPromise,
    RegionClosure,
    Season,
)
from farms.models.chain import ActorKind
from farms.services import Invitee, PaperSigned, invite_to_farm, keep_signed_paper
from monitoring.models import FarmTemperature, Product, Station
from monitoring.models.imports import ImportPart
from monitoring.rules.application import People
from monitoring.rules.pictures import Picture
from monitoring.rules.walk import FindingSent, Said
from monitoring.selectors import complaints_of, findings_of
from monitoring.services import (
    AnswerTyped,
    ComplaintTyped,
    Drawn,
    FindingPhotoSent,
    ImportPlan,
    ReentryTyped,
    StepSent,
    WalkSent,
    WorkDone,
    WorkPlanned,
    Writer,
    add_finding_photo,
    answer_complaint,
    as_planned,
    check_application,
    draw_plan,
    keep_own_table,
    lay_picture,
    leave_out,
    list_product,
    make_sprayer_link,
    plan_work,
    record_application,
    record_complaint,
    record_reentry,
    record_step,
    record_walk,
    record_work,
    take_back_work,
)
from monitoring.services.imports import ImportSent, request_import
from server.evidence.days import sign_day
from server.evidence.keys import make_key
from tests.cast import NOW, acting, as_factory, as_role, make_user
from tests.monitoring.applying import applied

if TYPE_CHECKING:
    from tests.isolation.scene import FarmScene

AUTUMN = date(2026, 9, 1)  # closed to visits from then on
LONG_AGO = date(2026, 5, 1)
# White, 16 by 16 points: what comes behind its end is no part of the picture.
PNG = base64.b64decode(
    b"iVBORw0KGgoAAAANSUhEUgAAABAAAAAQCAAAAAA6mKC9AAAAEUlEQVR4nGP8z4AKmBhGtAAAIBABH5AWUzYAAAAASUVORK5CYII="
)
HAPPENINGS = tuple(Happening.values)


def import_on_its_way(scene: "FarmScene") -> None:
    """A file that waits for a worker, and what became of its row."""
    word = scene.word
    file = f"station,hung on,taken on,count\n{word},2026-05-18,2026-05-25,{scene.number}\n".encode()
    sent = ImportSent(content=file, form="csv", plan=ImportPlan(), language="en")
    wrong = {"column": "station", "value": word, "code": "not_a_station", "reason": f"{word} is no station."}
    results = json.dumps([{"row": 2, "id": None, "outcome": "refused", "errors": [wrong]}])
    with acting(scene.owner):
        imported = request_import(farm=scene.farm, sent=sent, who=scene.owner, now=NOW)
    with as_factory():
        ImportPart.objects.create(farm=scene.farm, import_id=imported.id, first=0, rows=1, results=results)


def invited_by_mail(scene: "FarmScene") -> None:
    """Somebody who was invited to the farm, and a table of the owner's own that waits to be understood."""
    farm, word = scene.farm, scene.word
    invited = Invitee(f"{word.lower()}@example.org", f"{word} Guest", "recorder", "en")
    with acting(scene.owner):
        invite_to_farm(farm=farm, invited=invited, by=scene.owner, now=timezone.now())
        content = f"date,card,barn,count\n2026-05-25,1,{word},{scene.number}\n".encode()
        keep_own_table(farm=farm, user=scene.owner, name=f"{word}.csv", content=content, now=timezone.now())


def invited_to_group(scene: "FarmScene") -> UUID:
    """The id of an invitation to the farm's group that waits: the group's, and nothing of a farm."""
    now = timezone.now()
    with as_factory():
        made = GroupInvitation.objects.create(
            group=scene.farm.group, email=f"{uuid7().hex[-8:]}@example.org", name="Office", role="adviser",
            language="en", key_hash=key_hash(new_key()), invited_by=make_user(f"Office{uuid7().hex[-8:]}"), made_at=now,
            sent_at=now, expires_at=now + timedelta(days=14),
        )  # fmt: skip
        return made.id


def done_in_a_barn(scene: "FarmScene", barn: Facility) -> None:
    """What keeps people out of it, and its work."""
    kept_out_of_a_barn(scene, barn)
    work_planned_and_done(scene, barn)


def kept_out_of_a_barn(scene: "FarmScene", barn: Facility) -> None:
    """A label's time, its words unmistakably the farm's."""
    typed = ReentryTyped(NOW, NOW + timedelta(hours=12), f"{scene.word} label {scene.number}", barn)
    with acting(scene.owner):
        record_reentry(farm=scene.farm, typed=typed, actor=Actor(ActorKind.FARM_STAFF, scene.owner.id), now=NOW)


def work_planned_and_done(scene: "FarmScene", barn: Facility) -> None:
    """A plan with a day done and one left out, its words unmistakably the farm's, and a work taken back."""
    word, staff = scene.word, Actor(ActorKind.FARM_STAFF, scene.owner.id)
    plan = WorkPlanned(
        "wasps", NOW.date(), barn, every=1, unit="week", last_day=AUTUMN, words=f"{word} north wall {scene.number}",
        species=f"{word} wasp", number=scene.number,
    )  # fmt: skip
    with acting(scene.owner):
        planned = plan_work(farm=scene.farm, plan=plan, actor=staff, now=NOW)
        done = as_planned(planned, NOW.date(), NOW.date())
        released = replace(done, batch=f"{word} {scene.number}")
        record_work(farm=scene.farm, work=released, actor=staff, now=NOW)
        leave_out(planned=planned, day=NOW.date() + timedelta(days=7), why=f"{word} rain", actor=staff, now=NOW)
        cleaned = WorkDone("clean_out", NOW.date(), barn, not_reached=f"{word} corner {scene.number}")
        wrong = record_work(farm=scene.farm, work=cleaned, actor=staff, now=NOW)
        take_back_work(work=wrong, why=f"{word} by mistake", actor=staff, now=NOW)


def what_went_on(scene: "FarmScene", barn: Facility) -> None:
    """A label's time, a fly walk and a complaint."""
    kept_out_of_a_barn(scene, barn)
    walked_over(scene, barn)
    complained_of(scene)


def walked_over(scene: "FarmScene", barn: Facility) -> None:
    """A walk with a finding, what was done about it and a photo of it, their words unmistakably the farm's."""
    farm, word, actor = scene.farm, scene.word, Actor(ActorKind.FARM_STAFF, scene.owner.id)
    said = Said(f"{word} corner", f"{word} scrapes it", f"{word} hand", f"{word} {scene.number}")
    with acting(scene.owner):
        finding = FindingSent(uuid7(), "other", larvae="some", facility=barn, due_on=NOW.date(), said=said)
        record_walk(farm=farm, sent=WalkSent(uuid7(), NOW.date(), (finding,), barn), actor=actor, now=NOW)
        found, step = findings_of(farm).get(), StepSent("done", NOW.date(), note=f"{word} done")
        record_step(finding=found, step=step, actor=actor, now=NOW)
        add_finding_photo(finding=found, sent=FindingPhotoSent(uuid7(), PNG), actor=actor, now=NOW)


def complained_of(scene: "FarmScene") -> None:
    """A complaint and what was answered, their words unmistakably the farm's."""
    farm, word, actor = scene.farm, scene.word, Actor(ActorKind.FARM_STAFF, scene.owner.id)
    typed = ComplaintTyped(NOW.date(), "call", "neighbour", f"{word} flies {scene.number}", f"{word} Neighbour")
    with acting(scene.owner):
        record_complaint(farm=farm, typed=typed, actor=actor, now=NOW)
        answer = AnswerTyped(NOW.date(), "letter", f"{word} cards were shown", f"{word} Owner")
        answer_complaint(complaint=complaints_of(farm).get(), typed=answer, actor=actor, now=NOW)


def webhook_of(scene: "FarmScene") -> None:
    """A webhook for everything, its address unmistakably the farm's."""
    new = NewWebhook(f"https://{scene.word.lower()}.example.org/{scene.number}", HAPPENINGS)
    with acting(scene.owner):
        make_webhook(farm=scene.farm, new=new, by=scene.owner, now=NOW)


def plan_of(scene: "FarmScene") -> None:
    """A plan with a picture under it, an outline of an unmistakable name, and a card in its place."""
    farm, word = scene.farm, scene.word
    corners = [[0.1, 0.1], [0.4, 0.1], [0.4, 0.5]]
    with acting(scene.owner):
        card = Station.objects.filter(farm_id=farm.id).order_by("id").first()
        picture = Picture("png", PNG + f"{word} {scene.number}".encode(), 300, 200)
        lay_picture(farm=farm, picture=picture, by=scene.owner, now=NOW)
        drawn = Drawn([{"name": f"{word} silo", "points": corners}], {card.id: (0.2, 0.2)} if card else {})
        draw_plan(farm=farm, drawn=drawn, by=scene.owner, now=NOW)


def what_the_office_noted(scene: "FarmScene") -> None:
    """A season's end, who takes over from an adviser, a promise, a note on a call, a closed region, temperatures."""
    with as_factory():
        Season.objects.filter(farm=scene.farm).update(closes_on=date(2026, 10, 31))
        office = make_user(f"Office{uuid7().hex[-8:]}")
        AdviserOffer.objects.create(
            farm=scene.farm,
            left=office,
            left_at=NOW,
            successor=office,
            offered_by=office,
            offered_at=NOW,
            begins_on=AUTUMN,
        )
        OpenPromise.objects.create(farm=scene.farm, left=office, kind="call", day=AUTUMN, noted_at=NOW)
        CallNote.objects.create(
            farm=scene.farm, text=f"{scene.word} on the phone", step=f"{scene.word} again", step_on=AUTUMN, by=office,
            salt=bytes(16), at=NOW, noted_on=NOW.date(), entry=0,
        )  # fmt: skip
        RegionClosure.objects.create(region=scene.farm.region, closed=True, from_on=AUTUMN, set_by=office, set_at=NOW)
        # Of somebody who counted here and is off the list: the farm itself waits for nothing.
        ErasureRequest.objects.create(
            farm=scene.farm, person_id=uuid7(), asked_by=scene.owner, asked_at=NOW, due_at=NOW + timedelta(days=7)
        )
        FarmTemperature.objects.create(farm=scene.farm, day=date(2026, 5, 30), min_c=11, max_c=24, recorded_at=NOW)


def a_day_signed() -> None:
    """A head over all farms, signed with a key that is gone afterwards."""
    with TemporaryDirectory() as folder, override_settings(HEADS_KEY=f"{folder}/key.pem"), as_role("worker"):
        make_key(Path(folder) / "key.pem")
        sign_day(NOW)


def agreement_with(scene: "FarmScene") -> None:
    """The data agreement, signed on paper. The first farm of each group signed before its group wrote terms, so that
    it is asked again; the others signed under these.
    """
    farm, word = scene.farm, scene.word
    picture = b"\x89PNG\r\n\x1a\n" + f"{word} {scene.number}".encode()
    paper = PaperSigned(IN_FORCE, "en", NOW.date(), f"{word} Signer", picture)
    with acting(scene.owner):
        keep_signed_paper(farm=farm, paper=paper, by=scene.owner, now=NOW)
    with as_factory():
        if not GroupTerms.objects.filter(group=farm.group).exists():
            GroupTerms.objects.create(
                group=farm.group, licence="ODbL-1.0", sells_products=False, contact="Office, 555 0100",
                valid_from=LONG_AGO, set_by=make_user(f"Office{uuid7().hex[-8:]}"), set_at=NOW,
            )  # fmt: skip


def applied_on(scene: "FarmScene") -> None:
    """Two sprays by a hired sprayer, its names and place unmistakably the farm's: one that was not so, one that nobody
    has confirmed yet. And a link that waits.
    """
    word, number = scene.word, scene.number
    people = People(f"{word} Sprayer", f"C{number}", "", word)
    what = replace(applied(), place=f"{word} wall {number}", people=people)
    actor = Actor(ActorKind.FARM_STAFF, scene.owner.id)
    with acting(scene.owner):
        row, _waits = (
            record_application(farm=scene.farm, applied=what, by=Writer(actor, through_link=True), now=NOW)
            for _each in range(2)
        )
        check_application(application=row, confirmed=False, reason=f"{word} not so", actor=actor, now=NOW)
        make_sprayer_link(farm=scene.farm, by=scene.owner, actor=actor, now=timezone.now())


def listed_for(scene: "FarmScene") -> UUID:
    """The id of the product on the group's list: the group's, and nothing of a farm."""
    with as_factory():
        listed = Product.objects.filter(group=scene.farm.group).first()
        if listed is None:
            user = make_user(f"Office{uuid7().hex[-8:]}")
            listed = list_product(group=scene.farm.group, label=applied().label, by=user, now=NOW)
        return listed.id
