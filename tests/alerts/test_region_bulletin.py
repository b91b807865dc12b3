"""The bulletin of a region by mail: to whoever asked for it, of what was published, and of no farm."""

from datetime import datetime, timedelta

import pytest
from django.core import mail as django_mail
from django.utils import timezone

from alerts.delivery import outbox
from alerts.delivery.message import message_of
from alerts.delivery.region_bulletin import queue_region_bulletins
from alerts.models import RegionBulletin
from alerts.models.mail_choice import ChoiceWay
from alerts.selectors.mail_choices import bulletin_of, subscriptions_of
from alerts.services import choose_how_often
from farms import services
from farms.models import Farm, Group, GroupMember, Membership, Region, User
from tests.cast import NOW, acting, as_factory, as_role
from tests.regions import NUMBERS, ODD, WEEK, contribution, odbl, report, season

pytestmark = pytest.mark.django_db


def ask(user: User, region: Region, how_often: str = "every_week", at: datetime = NOW) -> None:
    with acting(user):
        choose_how_often(
            subscription=bulletin_of(user, region), by=user, how_often=how_often, way=ChoiceWay.PAGE, now=at
        )


def write(group: Group) -> list[RegionBulletin]:
    with as_role("worker"):
        queue_region_bulletins(group, WEEK, NOW)
    with as_factory():
        return list(RegionBulletin.objects.select_related("recipient", "region").order_by("recipient__name"))


def send() -> dict[str, int]:
    with as_role("worker"):
        return dict(outbox.send_due(NOW))


def test_nobody_gets_one_who_did_not_ask(northfield: Farm, anna: User, group: Group, region: Region):
    season(region)
    assert write(group) == []
    with acting(anna):
        assert not [each for each in subscriptions_of(anna) if each.kind == "region_bulletin"]


def test_who_asked_gets_what_the_page_says(northfield: Farm, anna: User, ben: User, group: Group, region: Region):
    season(region)
    ask(anna, region)
    ask(ben, region)
    mail, in_spanish = write(group)
    assert mail.subject == "Lower Valley: cards 1.3 times their own normal, rising, week of May 25"
    text = " ".join(mail.text.split())
    assert "Cards: Above their own normal: 1.3 times it." in text
    assert "Cards: rising, about a fifth more each week (10 to 30 % more)." in text
    assert "Raw counts of different dairies should not be compared" in text
    assert "the label, local rules and people with the licence for it decide" in text
    assert "Creative Commons Attribution 4.0" in text and mail.picture
    assert "Por encima de su propio nivel normal: 1,3 veces" in " ".join(in_spanish.text.split())
    assert send() == {"sent": 2}


def test_once_a_reader_and_week(northfield: Farm, anna: User, group: Group, region: Region):
    season(region)
    ask(anna, region)
    assert [each.id for each in write(group)] == [each.id for each in write(group)]


def test_none_before_the_reports_are_out_nor_where_they_tell_nothing(
    northfield: Farm, anna: User, group: Group, region: Region
):
    ask(anna, region)
    report(region, WEEK - timedelta(weeks=1), **NUMBERS)
    assert write(group) == []
    report(region)
    assert write(group) == []


def test_only_in_weeks_that_need_a_look_for_who_wants_those(northfield: Farm, anna: User, group: Group, region: Region):
    ask(anna, region, "when_needed")
    report(region, **{**NUMBERS, "growth_low": -0.1})
    write(group)
    assert send() == {"unwanted": 1}


def test_what_waits_is_stopped_by_a_later_choice_and_by_a_role_that_ended(
    northfield: Farm, anna: User, ben: User, group: Group, region: Region
):
    season(region)
    ask(anna, region)
    ask(ben, region)
    write(group)
    ask(anna, region, "none", NOW + timedelta(minutes=1))
    with as_factory():
        Membership.objects.filter(user=ben).update(ended_at=NOW)
    assert send() == {"unwanted": 1, "refused": 1}
    with as_factory():
        assert set(RegionBulletin.objects.values_list("reason", flat=True)) == {"", "no_region"}


def test_a_guest_may_ask_for_it_and_gets_none_once_the_stay_has_ended(group: Group, region: Region, erik: User):
    season(region)
    now = timezone.now()
    with acting(erik):
        guest = services.invite_guest(
            group=group, email="greta@example.org", name="Greta", ends_at=now + timedelta(days=9), now=now
        )
    ask(guest.user, region)
    assert len(write(group)) == 1
    with as_factory():
        GroupMember.objects.filter(id=guest.id).update(ended_at=now)
    assert send() == {"refused": 1}


def test_it_says_how_to_stop_it_as_every_mail_does(northfield: Farm, anna: User, group: Group, region: Region):
    season(region)
    ask(anna, region)
    write(group)
    send()
    (sent,) = django_mail.outbox
    address = sent.extra_headers["List-Unsubscribe"].strip("<>")
    assert "/mail-choice/" in address and address in sent.body
    assert sent.alternatives[0].mimetype == "text/html"


def test_no_name_and_no_value_of_a_farm_is_in_it(northfield: Farm, anna: User, group: Group, region: Region):
    season(region)
    contribution(northfield, 2)
    ask(anna, region)
    (mail,) = write(group)
    with as_role("worker"):
        whole = message_of([mail], now=NOW).message().as_string()
    for told in (mail.subject, mail.text, mail.html, whole):
        for each in (northfield.name, str(northfield.id), str(northfield.holding_id), f"{ODD:.0f}"):
            assert each not in told


def test_nobody_reads_anothers_bulletin(northfield: Farm, anna: User, dana: User, group: Group, region: Region):
    season(region)
    ask(anna, region)
    write(group)
    with acting(anna):
        assert RegionBulletin.objects.count() == 1
    with acting(dana):
        assert RegionBulletin.objects.count() == 0


def test_its_licence_is_the_one_that_the_group_chose(
    northfield: Farm, anna: User, erik: User, group: Group, region: Region
):
    season(region)
    odbl(group, erik)
    ask(anna, region)
    (mail,) = write(group)
    assert "Open Data Commons Open Database License v1.0" in " ".join(mail.text.split())
