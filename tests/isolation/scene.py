"""Four farms whose every name, note, count and id is unmistakable, and everybody who might ask for them.

Home is the farm that most people here belong to. Sister has the same owner, Neighbour is of the same group, Afar of
another. They are built alike, so that an address or a body of one is plausible for another.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.core import signing
from django.utils import timezone

from alerts.delivery.choice_address import Reader, choice_token
from alerts.models import CoordinatorReport, MondayList
from alerts.models.mail_choice import MailKind
from alerts.services import NewLevel, set_farm_level, set_mail_day
from farms import services
from farms.credentials import key_hash, new_key, new_token_key
from farms.ids import uuid7
from farms.ledger import Actor
from farms.models import (
    ApiToken,
    Consent,
    Farm,
    FeedAddress,
    Group,
    GroupMember,
    Membership,
    Region,
    SignInLink,
    User,
)
from farms.models.access import FarmRole, GroupRole
from farms.models.chain import ActorKind
from monitoring.models import Application, ApplicationCheck, Reading
from monitoring.services import HungSent, NoteSent, ReadingSent, RoundSent, record_round, skip_round
from server.web.phone import COOKIE, SALT
from tests.alerts.scene import check
from tests.cast import NOW, acting, as_factory, make_facility, make_farm, make_stations, make_user
from tests.isolation.farm_tables import LAST_WEEK, fill_empty_tables, ids_stored, models_of_records
from tests.isolation.forms import Fields
from tests.isolation.later_records import (
    AUTUMN,
    a_day_signed,
    agreement_with,
    applied_on,
    done_in_a_barn,
    import_on_its_way,
    invited_by_mail,
    invited_to_group,
    listed_for,
    plan_of,
    webhook_of,
    what_the_office_noted,
    what_went_on,
)
from tests.server.api.senders import Sender

TODAY = NOW.date()
# One word and one five-digit number for each farm: no other text of the service has them.
WORDS = {
    "home": ("Quillhaven", 61370),
    "sister": ("Sistermere", 55190),
    "neighbour": ("Northwold", 72410),
    "afar": ("Farrowdale", 83530),
}


@dataclass
class FarmScene:
    """A farm with a season's records, and what names it."""

    name: str
    farm: Farm
    owner: User
    word: str
    number: int
    ids: dict[str, list[str]] = field(default_factory=dict)

    def id_of(self, name: str, place: int = 0) -> str:
        """The id of one of the farm's records, as farm_id or station_id; of several the `place`-th, round and round."""
        found = self.ids[name]
        return found[place % len(found)]


@dataclass
class Asker:
    """Somebody who asks: which farms are theirs to see, of which groups they are, and how they are called."""

    name: str
    sender: Sender
    farms: frozenset[str] = frozenset()
    groups: frozenset[UUID] = frozenset()
    user: User | None = None

    def may_see(self, scene: FarmScene) -> bool:
        return scene.name in self.farms


class Scene:
    """The farms by name, and everybody who asks."""

    def __init__(self) -> None:
        self.stored: dict[tuple[str, ...], dict[str, str]] = {}
        self.forms: dict[str, dict[str, Fields]] = {}
        self.groups = [make_group("Isolde Advisers"), make_group("Oswin Advisers")]
        self.farms = dict(self._farms())
        self.neighbours_adviser = adviser_of(self.groups[0], self.farms["neighbour"], "Gustava")
        self.afar_adviser = adviser_of(self.groups[1], self.farms["afar"], "Ferdinanda")
        self.adviser = adviser_of(self.groups[0], self.farms["home"], "Adalind")
        self.outsiders = {
            name: in_group(make_group(f"{name} outside"), f"Orla{name}", GroupRole.ADVISER) for name in WORDS
        }
        for each in self.farms.values():
            records_of_a_season(each)
            webhook_of(each)
            agreement_with(each)
            applied_on(each)
        for group in self.groups:
            check(group, LAST_WEEK - timedelta(weeks=1))
        a_day_signed()
        for each in self.farms.values():
            fill_empty_tables(each.farm, each.owner, each.word, each.number)
            each.ids = self._ids_of(each)
        self.askers = {asker.name: asker for asker in self._askers()}

    def _farms(self) -> Iterator[tuple[str, FarmScene]]:
        owner = {name: make_user(f"Owner{WORDS[name][0]}") for name in ("home", "neighbour", "afar")}
        for name, (word, number) in WORDS.items():
            group = self.groups[name == "afar"]
            whose = owner.get(name, owner["home"])
            yield name, FarmScene(name, make_farm(word, region_of(group), whose), whose, word, number)

    def _ids_of(self, scene: FarmScene) -> dict[str, list[str]]:
        farm = scene.farm
        ids = {name: ids_stored(model, farm.id) for name, model in models_of_records().items()}
        ids |= {"farm_id": [farm.id], "region_id": [farm.region_id], "group_id": [farm.group_id]}
        ids["token_id"] = ids["api_token_id"]
        with as_factory():
            ids["phone_id"] = [ApiToken.objects.get(farm=farm, name=f"{scene.word} spare phone").id]
            # The first reading, and the round it was made on, are told of together in addresses.
            walked = Reading.objects.filter(farm=farm, id=ids["reading_id"][0]).values_list("round_id", flat=True)[0]
            checked = ApplicationCheck.objects.filter(farm=farm).values("application_id")
            waiting = Application.objects.filter(farm=farm).exclude(id__in=checked)
            ids["waiting_application_id"] = [waiting.values_list("id", flat=True)[0]]
        ids["round_id"] = [walked, *(each for each in ids["round_id"] if each != walked)]
        ids["person_id"] = ids["counted_by_id"] = ids["typed_by_id"] = ids["person_id"]
        ids["step_id"], ids["answer_id"] = ids["finding_step_id"], ids["complaint_answer_id"]
        ids["corrects_id"], ids["replaces_id"] = ids["reading_id"], ids["reentry_id"]
        ids["planned_id"] = ids["planned_work_id"]
        # An adviser is the group's, not a farm's: of a further group's nothing must be found out.
        ids["adviser_id"] = [self.outsiders[scene.name].id]
        ids["group_adviser_id"] = [role_in_group(scene.farm.group, self._advisers()[scene.name])]
        ids["successor_id"] = ids["adviser_id"]
        ids["feed_id"], ids["feed_key"] = ([each] for each in dead_feed_of(scene.owner))
        ids["monday_list_id"] = [list_about(scene, self._advisers()[scene.name])]
        ids["coordinator_report_id"] = [report_to_somebody(scene)]
        ids["group_invitation_id"] = [invited_to_group(scene)]
        ids["product_id"] = [listed_for(scene)]
        ids["choice_key"] = [choice_signed_by_nobody(scene)]
        ids["guest_id"], ids["user_id"], ids["link_key"] = (
            [guest_in(farm.group)],
            [scene.owner.id],
            [spent_link(scene.owner)],
        )
        return {name: [str(each) for each in found] for name, found in ids.items()}

    def _advisers(self) -> dict[str, User]:
        """Who has a Monday list with the farm on it; of the sister farm somebody else, since none advises it."""
        advisers = self.outsiders | {"home": self.adviser, "neighbour": self.neighbours_adviser}
        return advisers | {"afar": self.afar_adviser}

    def _askers(self) -> Iterator[Asker]:
        home, sister, neighbour, afar = self.farms.values()
        yield Asker("nobody", Sender())
        yield from people(self)
        for name, whose, scope, more in (
            ("reading token", home, "read", {}),
            ("writing token", home, "write", {}),
            ("farm phone", home, "count", {}),
            ("revoked token", home, "write", {"revoked_at": NOW}),
            ("revoked phone", home, "count", {"revoked_at": NOW}),
            ("expired token", home, "write", {"expires_at": timezone.now() - timedelta(days=1)}),
            ("sister's token", sister, "write", {}),
            ("sister's phone", sister, "count", {}),
            ("neighbour's token", neighbour, "write", {}),
        ):
            dead = bool(more)
            farms = frozenset() if dead else frozenset({whose.name})
            groups = frozenset() if dead or scope == "count" else frozenset({whose.farm.group_id})
            yield Asker(name, program(whose, scope, name, **more), farms, groups)
        assert afar.farm.group_id != home.farm.group_id

    def strangers_to(self, asker: Asker) -> list[FarmScene]:
        return [each for each in self.farms.values() if not asker.may_see(each)]


def make_group(name: str) -> Group:
    with as_factory():
        return Group.objects.create(name=name, slug=name.split(maxsplit=1)[0].lower(), time_zone="America/Chicago")


def region_of(group: Group) -> Region:
    with as_factory():
        return Region.objects.get_or_create(
            group=group, slug="part", defaults={"name": f"{group.name.split()[0]} part"}
        )[0]


def adviser_of(group: Group, scene: FarmScene, name: str) -> User:
    """An adviser of a group to whom a farm agreed."""
    user = make_user(name)
    with as_factory():
        GroupMember.objects.create(group=group, user=user, role=GroupRole.ADVISER)
    with acting(scene.owner):
        services.give_consent(farm=scene.farm, kind="adviser", adviser=user, by=scene.owner, now=NOW)
    return user


def people(scene: Scene) -> Iterator[Asker]:
    """Everybody with an account, signed in."""
    home, neighbour, afar = (scene.farms[name] for name in ("home", "neighbour", "afar"))
    first, second = (frozenset({group.id}) for group in scene.groups)
    for name, user, farms, groups in (
        ("owner", home.owner, {"home", "sister"}, first),
        ("recorder", member(home, "Recordia", FarmRole.RECORDER), {"home"}, first),
        ("adviser", scene.adviser, {"home"}, first),
        ("adviser of the neighbour", scene.neighbours_adviser, {"neighbour"}, first),
        ("coordinator", in_group(scene.groups[0], "Corisande", GroupRole.COORDINATOR), set(), first),
        ("guest", in_group(scene.groups[0], "Guinevere", GroupRole.GUEST, ends_at=timezone.now() + timedelta(days=9)),
         set(), first),
        ("guest whose time is over",
         in_group(scene.groups[0], "Ghislaine", GroupRole.GUEST, ends_at=timezone.now() - timedelta(days=1)),
         set(), frozenset()),
        ("owner of the neighbour", neighbour.owner, {"neighbour"}, first),
        ("owner afar", afar.owner, {"afar"}, second),
        ("coordinator afar", in_group(scene.groups[1], "Cosima", GroupRole.COORDINATOR), set(), second),
        ("who left the farm", member(home, "Exeter", FarmRole.OWNER, ended_at=NOW), set(), frozenset()),
        ("adviser whose consent was withdrawn", former_adviser(scene, home), set(), first),
        ("adviser who left the group", adviser_who_left(scene, home), set(), frozenset()),
    ):  # fmt: skip
        sender = Sender()
        sender.force_login(user)
        yield Asker(name, sender, frozenset(farms), groups, user)


def member(scene: FarmScene, name: str, role: FarmRole, **more: Any) -> User:
    user = make_user(name)
    with as_factory():
        Membership.objects.create(farm=scene.farm, user=user, role=role, began_at=NOW, **more)
    return user


def in_group(group: Group, name: str, role: GroupRole, **more: Any) -> User:
    user = make_user(name)
    with as_factory():
        GroupMember.objects.create(group=group, user=user, role=role, **more)
    return user


def former_adviser(scene: Scene, home: FarmScene) -> User:
    user = adviser_of(scene.groups[0], home, "Wandula")
    with acting(home.owner):
        services.withdraw_consent(
            consent=Consent.objects.get(farm=home.farm, adviser=user), by=home.owner, now=NOW
        )  # fmt: skip
    return user


def adviser_who_left(scene: Scene, home: FarmScene) -> User:
    user = adviser_of(scene.groups[0], home, "Leocadia")
    with as_factory():
        GroupMember.objects.filter(user=user).update(ended_at=NOW)
    return user


def program(scene: FarmScene, scope: str, name: str, **more: Any) -> Sender:
    """A token's program, or a farm phone that sends its key in its cookie too."""
    key = new_token_key()
    now = timezone.now()
    with as_factory():
        ApiToken.objects.create(
            **{"farm": scene.farm, "name": f"{scene.word} {name}", "scope": scope, "key_hash": key_hash(key),
               "made_by": scene.owner, "made_at": now, "last_used_on": now.date(),
               "expires_at": now + timedelta(days=30), **more}
        )  # fmt: skip
    sender = Sender(key)
    if scope == "count":
        sender.cookies[COOKIE] = signing.dumps(key, salt=SALT)
    return sender


def dead_feed_of(user: User) -> tuple[UUID, str]:
    """A feed's address of a user that was switched off: its id and its key."""
    key = new_key()
    made = FeedAddress.objects.create(
        user=user, kind="calendar", key_hash=key_hash(key), made_at=NOW, revoked_at=NOW
    )  # fmt: skip
    return made.id, key


def list_about(scene: FarmScene, adviser: User) -> UUID:
    """A Monday list with this farm on it, written to an adviser."""
    text = f"{scene.word} over: {scene.number}"
    with as_factory():
        return MondayList.objects.create(
            group=scene.farm.group, recipient=adviser, occasion="2026-W22", language="en", subject=text, text=text,
            html=f"<head></head><p>{text}</p>", queued_at=NOW, next_try_at=NOW, farm_ids=[scene.farm.id],
        ).id  # fmt: skip


def report_to_somebody(scene: FarmScene) -> UUID:
    """A coordinator's report of the farm's group, to a coordinator who asks for nothing."""
    reader = in_group(scene.farm.group, f"Cordula{uuid7().hex[-8:]}", GroupRole.COORDINATOR)
    with as_factory():
        return CoordinatorReport.objects.create(
            group=scene.farm.group, recipient=reader, occasion="2026-W22", language="en", subject="5 of 6 rounds came",
            text="6 farms in season", html="<head></head><p>6 farms in season</p>", queued_at=NOW, next_try_at=NOW,
        ).id  # fmt: skip


def choice_signed_by_nobody(scene: FarmScene) -> str:
    """What a mail's address would say of the farm's owner, under a key that isn't ours."""
    return choice_token(Reader(scene.owner.id, MailKind.DIGEST, scene.farm.id), [bytes(32)])


def guest_in(group: Group) -> UUID:
    user = in_group(group, f"Guest{uuid7().hex[-8:]}", GroupRole.GUEST, ends_at=timezone.now() + timedelta(days=9))
    with as_factory():
        return GroupMember.objects.get(user=user).id


def role_in_group(group: Group, adviser: User) -> UUID:
    """The role of a farm's adviser in its group; where that one is of another, of somebody who advises no farm."""
    with as_factory():
        role = GroupMember.objects.filter(group=group, user=adviser).first()
        if role is None:
            user = in_group(group, f"Quit{uuid7().hex[-8:]}", GroupRole.ADVISER)
            role = GroupMember.objects.get(user=user)
        return role.id


def spent_link(user: User) -> str:
    """The key of a mailed sign-in link of a user that was used already."""
    key = new_key()
    SignInLink.objects.create(
        user=user, key_hash=key_hash(key), expires_at=timezone.now() + timedelta(hours=1), used_at=NOW
    )
    return key


def records_of_a_season(scene: FarmScene) -> None:
    """Barns, stations, three rounds two weeks apart from the first, and one record of every kind that people make."""
    farm, owner, word, number = scene.farm, scene.owner, scene.word, scene.number
    barn, lot = (
        make_facility(farm, f"{word} calf barn", "calf_barn", 1),
        make_facility(farm, f"{word} lot", "dry_lot", 2),
    )
    cards = make_stations(barn, "card", range(1, 6))
    legs = make_stations(lot, "leg", range(1, 3))
    actor = Actor(ActorKind.FARM_STAFF, owner.id)
    with acting(owner):
        person = services.add_person(farm=farm, name=f"{word} counter", initials="Q", now=NOW)
        for week, day in enumerate((date(2026, 5, 11), date(2026, 5, 18), date(2026, 5, 25))):
            hung = tuple(HungSent(uuid7(), card.id, day) for card in cards[:5])
            found = [ReadingSent(uuid7(), card.id, count=number + week) for card in cards[:5]] if week else []
            found += [ReadingSent(uuid7(), leg.id, animals=(1, 2, 3, week)) for leg in legs if week]
            notes = (NoteSent(uuid7(), f"{word} note {week}", None),)
            sent = RoundSent(
                uuid7(), day, "form", readings=tuple(found), hung=hung, notes=notes, counted_by=person.id
            )  # fmt: skip
            record_round(farm=farm, sent=sent, actor=actor, now=NOW)
        skipped, then = TODAY + timedelta(days=7), TODAY + timedelta(days=14)
        skip_round(farm=farm, skipped_on=skipped, next_round_on=then, actor=actor, now=NOW)
        agreed = services.give_consent(farm=farm, kind="regional", by=owner, now=NOW)
        services.withdraw_consent(consent=agreed, by=owner, now=NOW)
        level = NewLevel("card", 77.0, f"{word} reason", TODAY)
        set_farm_level(farm=farm, level=level, by=owner, now=NOW)
        set_mail_day(farm=farm, weekday=3, by=owner, now=NOW)
        services.close_farm(farm=farm, from_on=AUTUMN, by=owner, now=NOW)
    done_in_a_barn(scene, barn)
    what_went_on(scene, barn)
    import_on_its_way(scene)
    plan_of(scene)
    invited_by_mail(scene)
    program(scene, "read", "spare program")
    program(scene, "count", "spare phone")
    what_the_office_noted(scene)
