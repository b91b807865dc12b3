"""An adviser leaves: access, keys and codes end at once, consents stay as history, each farm is told who is next."""

from datetime import date, timedelta
from hashlib import sha256
from threading import Barrier, Thread

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
    OpenPromise,
    PhoneCode,
    PlannedVisit,
    Region,
    User,
)
from farms.models.chain import ActorKind
from farms.offers import offers_of, offers_of_group, open_promises_of_group, promises_of
from farms.selectors import consents_of
from farms.services.adviser import AdviserLeftAlready
from farms.services.consent import withdrawn_hash
from tests.cast import NOW, acting, as_factory, as_role, make_farm, make_group_member, make_user

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 15)
TODAY = NOW.date()


def role_of(user: User) -> GroupMember:
    return GroupMember.objects.get(user=user, role="adviser")


def leave(dana: User, erik: User, successor: User | None = None, region: Region | None = None, day: date = DAY) -> None:
    follows = services.Successor(successor, day, region) if successor else None
    with acting(erik):
        let_adviser_leave(role=role_of(dana), successor=follows, by=erik, now=NOW)


@pytest.fixture
def fay(group: Group) -> User:
    """Another adviser of the group."""
    return make_group_member("Fay", group, "adviser")


def agree(farm: Farm, owner: User, adviser: User, **more: bool) -> Consent:
    with acting(owner):
        return services.give_consent(farm=farm, kind="adviser", adviser=adviser, by=owner, now=NOW, **more)


def offer_of(farm: Farm) -> AdviserOffer:
    with as_factory():
        return offers_of(farm).filter(ended_at__isnull=True).get()


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
        {"successor": dana}, {"successor": carla}, {"successor": fay, "day": TODAY + timedelta(days=6)},
        {"successor": fay, "region": elsewhere}, {"successor": fay, "day": TODAY + timedelta(days=200)},
    ):  # fmt: skip
        with pytest.raises(Invalid):
            leave(dana, erik, **wrong)
    assert role_of(dana).ended_at is None


def test_an_offer_lets_nobody_in(northfield: Farm, dana, erik, fay):
    leave(dana, erik, fay)
    with acting(fay):
        assert Farm.objects.count() == AdviserOffer.objects.count() == 0


def test_the_owner_says_yes_and_the_successor_comes_in(northfield: Farm, anna, dana, erik, fay):
    leave(dana, erik, fay)
    with acting(anna):
        answered = services.answer_offer(offer=offer_of(northfield), answer="yes", by=anna, now=NOW)
        assert (answered.answer, answered.answered_by) == ("yes", anna)
        assert consents_of(northfield).filter(adviser=fay, given_by=anna).exists()
        assert verify_links(northfield.id) == []
        with pytest.raises(services.OfferAnswered):
            services.answer_offer(offer=answered, answer="no", by=anna, now=NOW)
    with acting(fay):
        assert access.role_on(fay, northfield.id) is access.ADVISER


def test_the_owner_says_no_and_nobody_comes_in(northfield: Farm, anna, dana, erik, fay):
    leave(dana, erik, fay)
    with acting(anna):
        services.answer_offer(offer=offer_of(northfield), answer="no", by=anna, now=NOW)
        assert LogEvent.objects.filter(farm=northfield, kind="successor_refused").count() == 1
    with acting(fay):
        assert Farm.objects.count() == 0


def test_without_an_answer_nobody_begins_unless_that_was_agreed(northfield, southmead, anna, carla, dana, erik, fay):
    agree(southmead, carla, dana, whoever_follows=True)
    leave(dana, erik, fay)
    assert begun(northfield.group, DAY - timedelta(days=1)) == 0
    assert begun(northfield.group, DAY) == 1
    assert begun(northfield.group, DAY) == 0
    with acting(fay):
        assert list(Farm.objects.all()) == [southmead]
    with acting(carla):
        consent = consents_of(southmead).get(adviser=fay)
        assert (consent.given_by, consent.whoever_follows) == (carla, True)
        assert offers_of(southmead).get(successor=fay).answer == "by_itself"
        assert LogEvent.objects.filter(farm=southmead, kind="consent_given", actor_kind="service").count() == 1
        assert verify_links(southmead.id) == []


def begun(group: Group, day: date) -> int:
    with as_role("worker"):
        return services.begin_due(group_id=group.id, today=day, now=NOW)


def test_a_no_holds_also_where_whoever_follows_was_agreed(southmead: Farm, carla, dana, erik, fay):
    agree(southmead, carla, dana, whoever_follows=True)
    leave(dana, erik, fay)
    with acting(carla):
        services.answer_offer(offer=offer_of(southmead), answer="no", by=carla, now=NOW)
    assert begun(southmead.group, DAY) == 0


def test_the_worker_gives_no_consent_of_its_own(northfield: Farm, anna, dana, erik, fay):
    from django.db import ProgrammingError

    leave(dana, erik, fay)  # never agreed to whoever follows
    with pytest.raises(ProgrammingError, match="row-level security"), as_role("worker"):
        Consent.objects.create(
            farm=northfield, kind="adviser", adviser=fay, given_by=anna, given_at=NOW, entry=1
        )  # fmt: skip


def test_a_region_of_its_own_successor(northfield: Farm, southmead: Farm, carla, dana, erik, fay, group):
    agree(southmead, carla, dana)
    gus = make_group_member("Gus", group, "adviser")
    leave(dana, erik, fay)
    with acting(erik):
        follows = services.Successor(gus, DAY, southmead.region)
        assert services.name_successor(role=role_of(dana), successor=follows, now=NOW) == 1
        assert [(each.successor, each.answer, each.farms) for each in offers_of_group(group)] == sorted(
            [(fay, "nothing", 1), (gus, "nothing", 1)], key=lambda each: each[0].id
        )
    assert (offer_of(northfield).successor, offer_of(southmead).successor) == (fay, gus)


def test_who_said_no_is_asked_of_somebody_else_only(northfield: Farm, anna, dana, erik, fay, group):
    gus = make_group_member("Gus", group, "adviser")
    leave(dana, erik, fay)
    with acting(anna):
        services.answer_offer(offer=offer_of(northfield), answer="no", by=anna, now=NOW)
    with acting(erik):
        named = [
            services.name_successor(role=role_of(dana), successor=services.Successor(who, DAY), now=NOW)
            for who in (fay, gus)
        ]
    assert named == [0, 1]
    with acting(anna):
        assert LogEvent.objects.filter(farm=northfield, kind="successor_named").count() == 2


def test_numbers_are_the_coordinators_alone(northfield: Farm, anna, carla, dana, erik, fay, group, other_group):
    stranger = make_group_member("Hugo", other_group, "coordinator")
    with acting(dana):
        services.plan_visit(farm=northfield, plan=services.Plan("call", date(2026, 6, 9)), by=dana, now=NOW)
    leave(dana, erik, fay)
    with acting(erik):
        assert [each.farms for each in offers_of_group(group)] == [1]
        assert [(each.kind, each.day, each.promises) for each in open_promises_of_group(group)] == [
            ("call", date(2026, 6, 9), 1)
        ]
        assert AdviserOffer.objects.count() == OpenPromise.objects.count() == 0  # which farms, he doesn't see
    for other in (anna, carla, dana, fay, stranger):
        with acting(other):
            assert offers_of_group(group) == open_promises_of_group(group) == []


def test_a_stranger_names_nobody(northfield: Farm, anna, dana, erik, fay, carla):
    leave(dana, erik)
    for other in (anna, carla, fay):
        with acting(other):
            assert services.name_successor(role=role_of(dana), successor=services.Successor(fay, DAY), now=NOW) == 0
            assert services.pass_promises(role=role_of(dana), to=fay, now=NOW) == 0
    assert offer_of(northfield).successor is None


def test_the_successor_takes_a_promise_over(northfield: Farm, anna, dana, erik, fay):
    with acting(dana):
        services.plan_visit(farm=northfield, plan=services.Plan("visit", date(2026, 6, 9)), by=dana, now=NOW)
    leave(dana, erik, fay)
    with acting(fay):
        assert list(promises_of(northfield)) == []
    with acting(anna):
        services.answer_offer(offer=offer_of(northfield), answer="yes", by=anna, now=NOW)
        with pytest.raises(access.Forbidden):
            services.take_promise_over(promise=promises_of(northfield).get(), by=anna, now=NOW)
    with acting(fay):
        promise = promises_of(northfield).get()
        services.take_promise_over(promise=promise, by=fay, now=NOW)
        with pytest.raises(services.PromiseTaken):
            services.take_promise_over(promise=promise, by=fay, now=NOW)
        assert PlannedVisit.objects.get(adviser=fay).day == date(2026, 6, 9)
    with acting(erik):
        assert open_promises_of_group(northfield.group) == []


def test_a_coordinator_passes_promises_to_an_adviser_the_farm_agreed_to(northfield: Farm, anna, dana, erik, fay, group):
    gus = make_group_member("Gus", group, "adviser")
    agree(northfield, anna, fay)
    with acting(dana):
        services.plan_visit(farm=northfield, plan=services.Plan("visit", date(2026, 6, 9)), by=dana, now=NOW)
    leave(dana, erik)
    with acting(erik):
        assert services.pass_promises(role=role_of(dana), to=gus, now=NOW) == 0
        assert services.pass_promises(role=role_of(dana), to=fay, now=NOW) == 1
        assert open_promises_of_group(group) == []
    with acting(fay):
        assert PlannedVisit.objects.get(adviser=fay).day == date(2026, 6, 9)


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

    threads = [Thread(target=end, args=[each]) for each in (erik, ines)]
    for each in threads:
        each.start()
    for each in threads:
        each.join(30)
    assert sorted(outcomes) == ["done", "left already"]
    with as_factory():
        assert LedgerEntry.objects.filter(farm=northfield, kind="adviser_left").count() == 1
        assert AdviserOffer.objects.filter(ended_at__isnull=True).count() == 1
        assert verify_links(northfield.id) == []
