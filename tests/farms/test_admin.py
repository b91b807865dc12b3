"""The office's tables, for its staff: no farm's data, nothing deleted, no password."""

import pytest
from django.apps import apps
from django.contrib import admin
from django.test import Client
from django.urls import reverse

from farms.models import Farm, Group, GroupMember, Region, User
from farms.tenancy.keys import FarmRecord

pytestmark = pytest.mark.django_db
LISTS = ("group", "region", "holding", "groupmember", "user")


@pytest.fixture
def staff(db: None) -> Client:
    client = Client()
    client.force_login(User.objects.create_superuser("office@example.org", name="Office"))
    return client


@pytest.mark.parametrize("name", LISTS)
def test_staff_see_the_groups_tables(staff: Client, northfield: Farm, erik: User, name):
    assert staff.get(reverse(f"admin:farms_{name}_changelist")).status_code == 200
    assert staff.get(reverse(f"admin:farms_{name}_add")).status_code == 200


def test_no_farms_table_is_registered():
    registered = set(admin.site._registry)
    assert Farm not in registered
    assert [model for model in apps.get_models() if issubclass(model, FarmRecord) and model in registered] == []


def test_staff_add_a_region(staff: Client, group: Group):
    answer = staff.post(reverse("admin:farms_region_add"), {"group": group.id, "name": "New Valley", "slug": "new"})
    assert answer.status_code == 302
    assert Region.objects.get(slug="new").group == group


def test_nothing_is_deleted(staff: Client, group: Group):
    assert staff.post(reverse("admin:farms_group_delete", args=[group.id]), {"post": "yes"}).status_code == 403
    assert Group.objects.filter(id=group.id).exists()


def test_an_advisers_role_is_not_ended_or_given_away_past_what_hangs_on_it(staff: Client, dana: User, carla: User):
    role = GroupMember.objects.get(user=dana)
    form = reverse("admin:farms_groupmember_change", args=[role.id])
    assert "A coordinator lets an adviser leave" in staff.get(form).content.decode()
    sent = {"group": role.group_id, "user": carla.id, "role": "coordinator", "name": "D."}
    ended = {"ended_at_0": "2026-06-01", "ended_at_1": "12:00:00"}
    assert staff.post(form, sent | ended).status_code == 302
    role.refresh_from_db()
    assert (role.user, role.role, role.ended_at, role.name) == (dana, "adviser", None, "D.")


def test_a_coordinators_role_is_ended_here(staff: Client, erik: User):
    role = GroupMember.objects.get(user=erik)
    sent = {"group": role.group_id, "user": erik.id, "role": "coordinator", "name": ""}
    ended = {"ended_at_0": "2026-06-01", "ended_at_1": "12:00:00"}
    assert staff.post(reverse("admin:farms_groupmember_change", args=[role.id]), sent | ended).status_code == 302
    role.refresh_from_db()
    assert role.ended_at is not None


def test_carla_and_a_passer_by_are_sent_to_the_sign_in_page(carla: User):
    client = Client()
    for _ in ("nobody", "carla"):
        answer = client.get(reverse("admin:farms_user_changelist"))
        assert answer.status_code == 302
        assert client.get(answer.url).url.startswith(reverse("account_request_login_code"))
        client.force_login(carla)
