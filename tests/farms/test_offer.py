"""Who follows an adviser who left: an offer lets nobody in; an owner answers it, or what was agreed before begins."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from threading import Event

import pytest
from django.db import ProgrammingError, connection, connections, transaction

from farms import access, services
from farms.ledger import verify_links
from farms.models import (
    AdviserOffer,
    Consent,
    Farm,
    LogEvent,
    Membership,
    OpenPromise,
    PlannedVisit,
    User,
)
from farms.offers import offers_of, offers_of_group, open_promises_of_group, promises_of
from farms.selectors import consents_of
from farms.services import consent as consent_services
from farms.services import offer as offer_services
from tests.cast import NOW, acting, as_factory, as_role, make_farm, make_group_member, make_user
from tests.farms.leaving import DAY, agree, begun, leave, offer_of, role_of, together

pytestmark = pytest.mark.django_db


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


def test_where_who_agreed_owns_the_farm_no_longer_it_takes_a_yes(southmead: Farm, carla, dana, erik, fay):
    agree(southmead, carla, dana, whoever_follows=True)
    olga = make_user("Olga")
    hand_over(southmead, carla, olga)
    leave(dana, erik, fay)
    with acting(olga):
        assert offers_of(southmead).get(successor=fay).begins_by_itself is False
    assert begun(southmead.group, DAY) == 0
    with acting(olga):
        services.answer_offer(offer=offer_of(southmead), answer="yes", by=olga, now=NOW)
        assert consents_of(southmead).get(adviser=fay).given_by == olga


def hand_over(farm: Farm, before: User, after: User) -> None:
    with acting(before):
        services.add_member(farm=farm, user=after, role="owner", by=before, now=NOW)
        role = Membership.objects.get(farm=farm, user=before)
        services.end_membership(membership=role, by=before, now=NOW)


def test_where_the_next_one_leaves_too_nobody_is_named_again(northfield, southmead, carla, dana, erik, fay, group):
    agree(southmead, carla, dana, whoever_follows=True)
    gus = make_group_member("Gus", group, "adviser")
    leave(dana, erik, fay)
    leave(fay, erik)
    with acting(erik):
        assert [(each.left, each.successor, each.answer, each.farms) for each in offers_of_group(group)] == [
            (dana, None, "nothing", 2)
        ]
    with acting(carla):
        assert offers_of(southmead).get(ended_at=None).successor is None
        noted = LogEvent.objects.filter(farm=southmead, kind="adviser_left", about=f"adviser {fay.id}")
        assert noted.get().actor_id == erik.id
    with acting(erik):
        services.name_successor(role=role_of(dana), successor=services.Successor(gus, DAY), now=NOW)
    assert begun(group, DAY) == 1  # Carla's yes to whoever follows still holds


def test_who_said_no_to_the_one_who_leaves_too_is_asked_nothing_by_that(northfield: Farm, anna, dana, erik, fay, group):
    leave(dana, erik, fay)
    with acting(anna):
        services.answer_offer(offer=offer_of(northfield), answer="no", by=anna, now=NOW)
    leave(fay, erik)
    assert (offer_of(northfield).successor, offer_of(northfield).answer) == (fay, "no")


def test_nobody_takes_back_the_name_of_who_stays(northfield: Farm, anna, dana, erik, fay):
    leave(dana, erik, fay)
    for user in (erik, anna, fay):
        with acting(user), connection.cursor() as cursor:
            cursor.execute("SELECT nobody_follows(%s, %s, %s)", [northfield.group_id, fay.id, NOW])
            assert cursor.fetchone() == (0,)
    assert offer_of(northfield).successor == fay


def test_one_farms_error_leaves_the_others_their_successors(southmead, region, carla, dana, erik, fay, monkeypatch):
    olga = make_user("Olga")
    second = make_farm("Sorrel Flats", region, olga)
    agree(southmead, carla, dana, whoever_follows=True)
    agree(second, olga, dana, whoever_follows=True)
    leave(dana, erik, fay)
    begin = offer_services._begin

    def fail_at_first(offer: AdviserOffer, now: object) -> bool:
        if offer.farm_id == southmead.id:
            raise RuntimeError("invented")
        return begin(offer, now)

    monkeypatch.setattr(offer_services, "_begin", fail_at_first)
    assert begun(southmead.group, DAY) == 1
    with acting(fay):
        assert list(Farm.objects.all()) == [second]


def test_a_no_holds_also_where_whoever_follows_was_agreed(southmead: Farm, carla, dana, erik, fay):
    agree(southmead, carla, dana, whoever_follows=True)
    leave(dana, erik, fay)
    with acting(carla):
        services.answer_offer(offer=offer_of(southmead), answer="no", by=carla, now=NOW)
    assert begun(southmead.group, DAY) == 0


def test_the_worker_gives_no_consent_of_its_own(northfield: Farm, anna, dana, erik, fay):
    leave(dana, erik, fay)  # never agreed to whoever follows
    with pytest.raises(ProgrammingError, match="row-level security"), as_role("worker"):
        Consent.objects.create(
            farm=northfield, kind="adviser", adviser=fay, given_by=anna, given_at=NOW, entry=1
        )  # fmt: skip


def test_a_policy_holds_the_worker_to_the_day_named(southmead: Farm, carla, dana, erik, fay):
    agree(southmead, carla, dana, whoever_follows=True)
    leave(dana, erik, fay)
    with pytest.raises(ProgrammingError, match="row-level security"), as_role("worker"):
        yes_of(southmead, carla, fay, datetime(2026, 6, 15, 4, tzinfo=UTC))  # 23:00 of the day before, in Chicago
    with as_role("worker"):
        yes_of(southmead, carla, fay, datetime(2026, 6, 15, 6, tzinfo=UTC))


def yes_of(farm: Farm, by: User, adviser: User, at: datetime) -> None:
    Consent.objects.create(farm=farm, kind="adviser", adviser=adviser, given_by=by, given_at=at, entry=1)


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


def at_the_same_moment(monkeypatch, module: object, let_in: Callable[[], object], end: Callable[[], None]) -> None:
    """End a role between a look at it and the lock of the farm's chain, as far as what lets the adviser in allows."""
    looked, ended = Event(), Event()
    lock_heads = module.lock_heads

    def wait_for_the_end(farm_ids: object) -> object:
        looked.set()
        ended.wait(1.5)
        return lock_heads(farm_ids)

    def ending() -> None:
        looked.wait(10)
        with transaction.atomic():
            end()
        ended.set()

    def closed(deed: Callable[[], object]) -> None:
        try:
            deed()
        finally:
            connections.close_all()

    monkeypatch.setattr(module, "lock_heads", wait_for_the_end)
    together(lambda: closed(let_in), lambda: closed(ending))
    assert ended.is_set()


@pytest.mark.django_db(transaction=True, databases="__all__")
class TestAtTheSameMoment:
    def test_a_yes_does_not_outlive_the_role(self, southmead: Farm, carla, dana, erik, monkeypatch):
        at_the_same_moment(
            monkeypatch, consent_services, lambda: agree(southmead, carla, dana), lambda: leave(dana, erik)
        )
        self.lets_nobody_in(southmead, dana)

    def test_nor_what_the_worker_lets_in(self, southmead: Farm, carla, dana, erik, fay, monkeypatch):
        agree(southmead, carla, dana, whoever_follows=True)
        leave(dana, erik, fay)
        at_the_same_moment(monkeypatch, offer_services, lambda: begun(southmead.group, DAY), lambda: leave(fay, erik))
        self.lets_nobody_in(southmead, fay)

    def lets_nobody_in(self, farm: Farm, adviser: User) -> None:
        with as_factory():
            assert list(Consent.objects.filter(farm=farm, adviser=adviser, withdrawn_at__isnull=True)) == []
            assert AdviserOffer.objects.filter(farm=farm, left=adviser, ended_at__isnull=True).count() == 1
            assert verify_links(farm.id) == []
