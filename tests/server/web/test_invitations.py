"""Invitations by mail: made, mailed, opened, accepted, sent again, taken back; and what nobody learns by them."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from farms.ids import uuid7
from farms.models import Farm, Group, GroupInvitation, GroupMember, Invitation, LogEvent, Membership, Region, User
from server.web.invitation_mail import name_in_mail
from tests.cast import as_factory, make_group_member, make_user
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
SENT = {"email": "gus@example.org", "name": "Gus", "role": "recorder", "language": "es"}
FARM = {
    "farm": "Hollow Creek", "time_zone": "America/Chicago", "holding": "", "name": "Olga",
    "email": "olga@example.org", "language": "en",
}  # fmt: skip


def address_in(message: Any) -> str:
    return re.search(r"https?://\S+?(/invitation/\S+)", message.body)[1]


def come_in(visitor: Any, address: str) -> Any:
    """Ask for a code at the address, type it, and end where the invitation is shown."""
    asked = visitor.post(address)
    return visitor.post(asked.url, {"code": mail.outbox[-1].subject.split()[0]}, follow=True)


def invite(client: Any, farm: Farm, **changed: str) -> Any:
    return client.post(reverse("invitations", args=[farm.id]), SENT | changed, follow=True)


def test_whoever_is_invited_signs_in_by_code_and_accepts_in_one_click(browser, anna, northfield):
    shown = words(invite(browser(anna), northfield))
    assert "The invitation to Gus is on its way." in shown and "gus@example.org" in shown
    letter = mail.outbox[-1]
    assert letter.to == ["gus@example.org"] and "Anna" in letter.body and "Northfield" in letter.body
    assert "invit" in letter.subject.lower() and not User.objects.filter(email="gus@example.org").exists()
    visitor, address = browser(), address_in(letter)
    assert visitor.get(address).status_code == 200 and not User.objects.filter(email="gus@example.org").exists()
    offered = come_in(visitor, address)
    assert offered.request["PATH_INFO"] == address and "Northfield" in words(offered)
    accepted = visitor.post(address, follow=True)
    assert accepted.request["PATH_INFO"] == reverse("farm", args=[northfield.id])
    with as_factory():
        gus = User.objects.get(email="gus@example.org")
        assert (gus.language, gus.name) == ("es", "Gus")
        assert Membership.objects.get(farm=northfield, user=gus).role == "recorder"
        kinds = list(LogEvent.objects.filter(farm=northfield).values_list("kind", flat=True))
    assert kinds.count("invited") == kinds.count("member_added") == 1
    assert "Invited by mail" in words(browser(anna).get(reverse("log", args=[northfield.id])))


def test_wrong_used_withdrawn_and_ended_addresses_are_answered_alike(browser, anna, northfield):
    client = browser(anna)
    answers = {words(browser().get("/invitation/nobodys/"))}
    invite(client, northfield)
    used = address_in(mail.outbox[-1])
    visitor = browser()
    come_in(visitor, used)
    visitor.post(used)
    invite(client, northfield, email="hal@example.org")
    withdrawn = address_in(mail.outbox[-1])
    with as_factory():
        waiting = Invitation.objects.get(email="hal@example.org")
    client.post(reverse("withdraw_invitation", args=[northfield.id, waiting.id]))
    invite(client, northfield, email="ivo@example.org")
    ended = address_in(mail.outbox[-1])
    with as_factory():
        Invitation.objects.filter(email="ivo@example.org").update(expires_at=timezone.now())
    for address in (used, withdrawn, ended):
        for answer in (browser().get(address), browser().post(address)):
            assert answer.status_code == 410
            answers.add(words(answer))
    assert len(answers) == 1
    assert not User.objects.filter(email__in=["hal@example.org", "ivo@example.org"]).exists()


def test_sent_again_the_address_before_opens_nothing(browser, anna, northfield):
    client = browser(anna)
    invite(client, northfield)
    first = address_in(mail.outbox[-1])
    with as_factory():
        waiting = Invitation.objects.get()
    client.post(reverse("invite_again", args=[northfield.id, waiting.id]))
    second = address_in(mail.outbox[-1])
    assert first != second
    assert browser().get(first).status_code == 410 and browser().get(second).status_code == 200


def test_an_adviser_invites_a_recorder_and_no_owner(browser, dana, northfield):
    client = browser(dana)
    assert "owner: decides" not in words(client.get(reverse("invitations", args=[northfield.id])))
    assert client.post(reverse("invitations", args=[northfield.id]), SENT | {"role": "owner"}).status_code == 422
    assert "is on its way" in words(invite(client, northfield))
    address = address_in(mail.outbox[-1])
    # Whoever may not invite any more has invited nobody.
    with as_factory():
        GroupMember.objects.filter(user=dana).update(ended_at=timezone.now())
    assert browser().get(address).status_code == 410


def test_an_invitation_is_for_one_address_only(browser, anna, carla, northfield, southmead):
    invite(browser(anna), northfield)
    address, other = address_in(mail.outbox[-1]), browser(carla)
    shown = other.get(address)
    assert "another address" in words(shown) and "gus@" not in shown.content.decode()
    other.post(address)
    with as_factory():
        assert not Membership.objects.filter(farm=northfield, user=carla).exists()


def test_who_is_invited_already_or_has_a_role_is_told_so(browser, anna, ben, northfield):
    client, address = browser(anna), reverse("invitations", args=[northfield.id])
    invite(client, northfield)
    again = client.post(address, SENT)
    assert again.status_code == 422 and "is invited already" in words(again)
    member = client.post(address, SENT | {"email": "BEN@example.org"})
    assert member.status_code == 422 and "already has a role" in words(member)
    # An address that somebody elsewhere has is answered as one that nobody has.
    make_user("Known")
    told = {
        words(invite(client, northfield, email=f"{name}@example.org")).count("is on its way")
        for name in ("known", "new")
    }
    assert told == {1}


def test_no_more_than_twenty_wait_and_five_mails_a_day_go_to_an_address(browser, anna, northfield):
    client = browser(anna)
    invite(client, northfield)
    with as_factory():
        waiting = Invitation.objects.get()
    for _ in range(6):
        answered = client.post(reverse("invite_again", args=[northfield.id, waiting.id]), follow=True)
    assert "Enough invitations went there for today" in words(answered) and len(mail.outbox) == 5
    # A mail that may not go leaves no invitation behind, either.
    client.post(reverse("withdraw_invitation", args=[northfield.id, waiting.id]))
    assert client.post(reverse("invitations", args=[northfield.id]), SENT).status_code == 422
    for number in range(20):
        invite(client, northfield, email=f"g{number}@example.org")
    full = client.post(reverse("invitations", args=[northfield.id]), SENT | {"email": "one@example.org"})
    assert full.status_code == 422 and "20 invitations wait already" in words(full)
    with as_factory():
        assert Invitation.objects.filter(withdrawn_at__isnull=True).count() == 20


def test_a_farm_is_registered_by_its_owners_yes(browser, erik, group, region):
    client = browser(erik)
    sent = client.post(reverse("new_farm", args=[group.id]), FARM | {"region": str(region.id)}, follow=True)
    assert "Olga is invited" in words(sent) and "Hollow Creek" in words(sent)
    with as_factory():
        assert not Farm.objects.exists() and not User.objects.filter(email="olga@example.org").exists()
    visitor, address = browser(), address_in(mail.outbox[-1])
    come_in(visitor, address)
    begun = visitor.post(address, follow=True)
    with as_factory():
        farm = Farm.objects.get()
        assert (farm.name, farm.time_zone, farm.holding.name) == ("Hollow Creek", "America/Chicago", "Hollow Creek")
    assert begun.request["PATH_INFO"] == reverse("start", args=[farm.id])
    assert browser(erik).get(reverse("farm", args=[farm.id])).status_code == 404
    assert "1 farm began by an invitation." in words(client.get(reverse("group_start", args=[group.id])))


def test_a_coordinator_invites_to_the_group(browser, erik, group):
    client, address = browser(erik), reverse("group_invitations", args=[group.id])
    until = (timezone.now() + timedelta(days=30)).date().isoformat()
    for role in ("adviser", "coordinator", "guest"):
        sent = {"email": f"{role}@example.org", "name": role.title(), "role": role, "language": "en", "until": until}
        assert "is on its way" in words(client.post(address, sent, follow=True))
        visitor = browser()
        come_in(visitor, address_in(mail.outbox[-1]))
        visitor.post(address_in(next(each for each in mail.outbox if each.to == [sent["email"]])))
    assert client.post(address, sent | {"email": "late@example.org", "until": ""}).status_code == 422
    found = set(GroupMember.objects.exclude(user=erik).values_list("user__email", "role"))
    assert found == {(f"{role}@example.org", role) for role in ("adviser", "coordinator", "guest")}


def test_a_coordinator_who_left_has_invited_nobody(browser, erik, group):
    sent = SENT | {"role": "adviser"}
    browser(erik).post(reverse("group_invitations", args=[group.id]), sent)
    address = address_in(mail.outbox[-1])
    assert browser().get(address).status_code == 200
    GroupMember.objects.filter(user=erik).update(ended_at=timezone.now())
    assert browser().get(address).status_code == 410


def test_only_coordinators_of_the_group_reach_its_invitations(browser, anna, carla, dana, erik, northfield, group):
    browser(erik).post(reverse("group_invitations", args=[group.id]), SENT | {"role": "adviser"})
    waiting = GroupInvitation.objects.get()
    plain = [reverse(name, args=[group.id]) for name in ("group_invitations", "new_farm", "group_start")]
    named = [reverse(name, args=[group.id, waiting.id]) for name in ("group_invite_again", "withdraw_group_invitation")]
    frida = make_user("Frida")
    for page in plain + named:
        assert browser().post(page, {}).status_code == 302
        assert browser(frida).post(page, {}).status_code == 404
        assert {browser(each).post(page, {}).status_code for each in (anna, dana)} == {403}
    wrong = reverse("group_invite_again", args=[group.id, uuid7()])
    assert browser(erik).post(wrong).status_code == 404
    assert len(mail.outbox) == 1


def test_a_recorder_is_shown_nobodys_address(browser, anna, ben, northfield):
    invite(browser(anna), northfield)
    assert browser(ben).get(reverse("invitations", args=[northfield.id])).status_code == 403
    from farms.invitations import invitations_of
    from tests.cast import acting

    with acting(ben):
        assert not invitations_of(northfield).exists()
    with acting(anna):
        assert invitations_of(northfield).count() == 1


@given(st.text(max_size=200))
def test_a_name_in_a_mail_is_one_short_line_without_an_address(name):
    told = name_in_mail(name)
    assert len(told) <= 60 and "\n" not in told and not re.search(r"[:/@<>]|\.\w", told)


@pytest.fixture
def hills(db):
    """A region of another group."""
    with as_factory():
        group = Group.objects.create(name="Hill Advisers", slug="hill")
        return Region.objects.create(group=group, name="Hills", slug="hills")


def bring_in(browser, hills, anna) -> Any:
    """Anna is invited to begin a farm in the hills, and opens the address; who is asked, and where."""
    hilda = make_group_member("Hilda", hills.group, "coordinator")
    typed = FARM | {"region": str(hills.id), "name": "Anna", "email": anna.email}
    browser(hilda).post(reverse("new_farm", args=[hills.group.id]), typed, follow=True)
    return browser(anna), address_in(mail.outbox[-1])


def test_an_owner_brings_a_farm_over_and_who_saw_it_is_told(browser, anna, dana, northfield, hills):
    client, address = bring_in(browser, hills, anna)
    offered = words(client.get(address))
    assert "Begin Hollow Creek as a new farm" in offered and "Bring Northfield over" in offered
    assert "Its advisers see it no more" in offered
    done = client.post(address, {"bring": str(northfield.id)}, follow=True)
    assert done.request["PATH_INFO"] == reverse("consents", args=[northfield.id])
    assert "Northfield belongs to the group Hill Advisers now" in words(done)
    [told] = [each for each in mail.outbox if each.to == [dana.email]]
    assert "Northfield" in told.subject and "You advise it no longer" in told.body
    assert browser(dana).get(reverse("farm", args=[northfield.id])).status_code == 404
    assert "Handed over to another group" in words(client.get(reverse("log", args=[northfield.id])))
    assert client.get(address).status_code == 410
    with as_factory():
        assert Farm.objects.get(id=northfield.id).group_id == hills.group_id
        assert not Farm.objects.filter(name="Hollow Creek").exists()


def test_an_owner_of_farms_may_begin_a_new_one_all_the_same(browser, anna, northfield, hills):
    client, address = bring_in(browser, hills, anna)
    client.post(address, {"bring": ""})
    with as_factory():
        assert Farm.objects.get(name="Hollow Creek").group_id == hills.group_id
        assert Farm.objects.get(id=northfield.id).group_id == northfield.group_id


def test_no_farm_but_one_s_own_is_brought_over(browser, anna, ben, northfield, southmead, hills):
    client, address = bring_in(browser, hills, anna)
    for other in (str(southmead.id), "nonsense"):
        answer = client.post(address, {"bring": other})
        assert answer.status_code == 422 and "Hollow Creek" in words(answer)
    with as_factory():
        assert Farm.objects.get(id=southmead.id).group_id == southmead.group_id
        assert GroupInvitation.objects.get().accepted_at is None
