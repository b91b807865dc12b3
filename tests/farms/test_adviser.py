"""An adviser leaves: access, keys and codes end at once, consents stay as history, and what was promised is noted."""

from datetime import date, timedelta
from hashlib import sha256
from threading import Barrier

import pytest
from django.db import connections, transaction
from django.utils import timezone

from alerts.services import let_adviser_leave
from farms import access, services
from farms.errors import Invalid, Missing
from farms.ledger import verify_links
from farms.models import (
    AdviserOffer,
    ApiToken,
    Consent,
    Farm,
    Group,
    GroupMember,
    LastFarmVisited,
    LedgerEntry,
    LogEvent,
    PhoneCode,
    PlannedVisit,
    Region,
    User,
)
from farms.models.chain import ActorKind
from farms.offers import offers_of, promises_of
from farms.selectors import consents_of
from farms.services.adviser import AdviserLeftAlready
from farms.services.consent import withdrawn_hash
from tests.cast import NOW, acting, as_factory, make_farm, make_group_member, make_user
from tests.farms.leaving import TODAY, agree, leave, role_of, together

pytestmark = pytest.mark.django_db


def test_who_left_is_let_in_nowhere_in_the_group(northfield: Farm, dana: User, erik: User):
    leave(dana, erik)
    assert role_of(dana).ended_at == NOW
    with acting(dana):
        assert Farm.objects.count() == 0
        with pytest.raises(Missing):
            access.farm_for(dana, northfield.id)


def test_the_consent_stays_as_history_and_the_chain_says_why_it_ended(northfield: Farm, anna, dana, erik):
    leave(dana, erik)
    with acting(anna):
        consent = consents_of(northfield).get(adviser=dana)
        entry = LedgerEntry.objects.filter(farm=northfield).order_by("number").last()
        line = LogEvent.objects.get(farm=northfield, kind="adviser_left")
        assert consent.withdrawn_at == NOW
        assert (entry.kind, entry.actor_kind, entry.actor_id) == ("adviser_left", "coordinator", erik.id)
        assert bytes(entry.rows_hash) == sha256(withdrawn_hash(consent)).digest()
        assert (line.actor_kind, line.actor_id, line.about) == ("coordinator", erik.id, f"adviser {dana.id}")
        assert verify_links(northfield.id) == []


def test_the_chains_of_many_farms_hold(region: Region, dana: User, erik: User):
    farms = [make_farm(f"Farm {n}", region, make_user(f"Owner{n}")) for n in range(25)]
    with as_factory():
        owners = {farm.id: farm for farm in farms}
    for farm in farms:
        with as_factory():
            owner = User.objects.get(memberships__farm=farm)
        agree(farm, owner, dana)
    leave(dana, erik)
    with as_factory():
        assert Consent.objects.filter(adviser=dana, withdrawn_at=NOW).count() == len(owners)
        assert LogEvent.objects.filter(kind="adviser_left").count() == len(owners)
        assert [verify_links(farm.id) for farm in farms] == [[]] * len(farms)


def test_another_groups_farms_and_roles_stay(northfield: Farm, other_group: Group, dana: User, erik: User):
    with as_factory():
        elsewhere = Region.objects.create(group=other_group, name="Hill", slug="hill")
        GroupMember.objects.create(group=other_group, user=dana, role="adviser")
    owner = make_user("Olga")
    hill = make_farm("Hilltop", elsewhere, owner)
    agree(hill, owner, dana)
    with acting(erik):
        role = GroupMember.objects.get(user=dana, group=northfield.group)
        let_adviser_leave(role=role, successor=None, by=erik, now=NOW)
    with acting(dana):
        assert list(Farm.objects.all()) == [hill]


def test_programs_keys_and_unused_codes_end_and_farm_phones_go_on(northfield: Farm, anna, dana, erik):
    soon = timezone.now() + timedelta(days=30)
    with acting(anna):
        own, _key = services.make_token(farm=northfield, name="own", scope="read", by=anna, expires_at=soon, now=NOW)
    with as_factory():
        made = {"farm": northfield, "made_by": dana, "made_at": NOW, "expires_at": soon}
        program = ApiToken.objects.create(name="program", scope="write", key_hash=bytes(32), **made)
        phone = ApiToken.objects.create(name="phone", scope="count", key_hash=b"p" * 32, **made)
    with acting(dana):
        code, digits = services.make_phone_code(farm=northfield, by=dana, now=timezone.now())
    leave(dana, erik)
    with as_factory():
        ended = set(ApiToken.objects.filter(revoked_at__isnull=False))
        assert (ended, program in ended, phone in ended, own in ended) == ({program}, True, False, False)
        assert PhoneCode.objects.get(id=code.id).expires_at < code.made_at
        assert LogEvent.objects.get(kind="token_ended").about == "program"
    with pytest.raises(services.PhoneCodeWrong):
        services.use_phone_code(code=digits, name="barn", expires_at=soon, now=timezone.now())


def test_keys_of_who_is_a_member_of_the_farm_too_stay(northfield: Farm, anna, ben, erik, group: Group):
    with as_factory():
        GroupMember.objects.create(group=group, user=ben, role="adviser")
        until = timezone.now() + timedelta(days=30)
        ApiToken.objects.create(
            farm=northfield, name="k", scope="read", key_hash=bytes(32), made_by=ben, made_at=NOW, expires_at=until
        )
    agree(northfield, anna, ben)
    leave(ben, erik)
    with as_factory():
        assert ApiToken.objects.get().revoked_at is None
    with acting(ben):
        assert access.role_on(ben, northfield.id) is access.RECORDER


def test_what_was_planned_becomes_an_open_promise(northfield: Farm, anna, dana, erik):
    with acting(dana):
        plan = services.Plan(kind="visit", day=date(2026, 6, 9), last_farm="Hollow Creek", last_on=TODAY)
        services.plan_visit(farm=northfield, plan=plan, by=dana, now=NOW)
    leave(dana, erik)
    with acting(anna):
        assert PlannedVisit.objects.get().taken_back_at == NOW
        assert [(each.kind, each.day, each.left) for each in promises_of(northfield)] == [
            ("visit", date(2026, 6, 9), dana)
        ]
    with as_factory():
        assert not LastFarmVisited.objects.exists()


def test_what_was_put_off_is_promised_by_whom_the_chain_names(northfield: Farm, anna, dana, erik):
    from alerts.models import Alert
    from alerts.services import snooze
    from farms.ledger import Actor

    with as_factory():
        opened = {"farm": northfield, "opened_week": date(2026, 5, 25), "opened_at": NOW}
        mine, hers = (Alert.objects.create(rule=rule, **opened) for rule in ("over", "rising"))
    with acting(dana):
        snooze(alert=mine, until=date(2026, 6, 10), actor=Actor(ActorKind.ADVISER, dana.id), now=NOW)
    with acting(anna):
        snooze(alert=hers, until=date(2026, 6, 11), actor=Actor(ActorKind.FARM_STAFF, anna.id), now=NOW)
    leave(dana, erik)
    with acting(anna):
        assert [(each.kind, each.day) for each in promises_of(northfield)] == [("put_off", date(2026, 6, 10))]


def test_a_second_coordinator_learns_of_the_first(northfield: Farm, dana, erik, fay):
    leave(dana, erik)
    with pytest.raises(AdviserLeftAlready):
        leave(dana, erik, fay)
    with as_factory():
        assert offers_of(northfield).get().successor is None


def test_a_refused_successor_ends_nothing(northfield: Farm, dana, erik, carla, fay, other_group):
    with as_factory():
        elsewhere = Region.objects.create(group=other_group, name="Hill", slug="hill")
    for wrong in (
        {"successor": dana}, {"successor": carla}, {"successor": fay, "day": TODAY + timedelta(days=13)},
        {"successor": fay, "region": elsewhere}, {"successor": fay, "day": TODAY + timedelta(days=200)},
    ):  # fmt: skip
        with pytest.raises(Invalid):
            leave(dana, erik, **wrong)
    assert role_of(dana).ended_at is None


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_two_coordinators_at_the_same_moment(northfield: Farm, dana, erik, fay, group):
    ines = make_group_member("Ines", group, "coordinator")
    start, outcomes = Barrier(2), []

    def end(by: User) -> None:
        try:
            start.wait()
            with transaction.atomic():
                leave(dana, by, fay)
            outcomes.append("done")
        except AdviserLeftAlready:
            outcomes.append("left already")
        finally:
            connections.close_all()

    together(lambda: end(erik), lambda: end(ines))
    assert sorted(outcomes) == ["done", "left already"]
    with as_factory():
        assert LedgerEntry.objects.filter(farm=northfield, kind="adviser_left").count() == 1
        assert AdviserOffer.objects.filter(ended_at__isnull=True).count() == 1
        assert verify_links(northfield.id) == []
