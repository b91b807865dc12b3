"""The office's tables: the group, its parts, and who works for it. Nothing of a farm.

Farm tables are not here: the admin refuses composite keys, and row security would show it nothing. Rows are never
deleted here; the role of the pages has no right to.
"""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from farms.models import Group, GroupMember, Holding, Region, User
from farms.models.access import GroupRole

if TYPE_CHECKING:
    # Django's own class takes no type argument while it runs; its stubs ask for one.
    ModelAdmin = admin.ModelAdmin[Any]
else:
    ModelAdmin = admin.ModelAdmin


class NothingDeleted(ModelAdmin):
    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Group)
class GroupAdmin(NothingDeleted):
    list_display = ["name", "time_zone", "language", "sides_counted"]
    prepopulated_fields = {"slug": ["name"]}


@admin.register(Region)
class RegionAdmin(NothingDeleted):
    list_display = ["name", "group"]
    list_filter = ["group"]
    prepopulated_fields = {"slug": ["name"]}


@admin.register(Holding)
class HoldingAdmin(NothingDeleted):
    list_display = ["name", "group"]
    list_filter = ["group"]
    search_fields = ["name"]


@admin.register(GroupMember)
class GroupMemberAdmin(NothingDeleted):
    list_display = ["user", "role", "group", "ends_at", "ended_at"]
    list_filter = ["group", "role"]
    autocomplete_fields = ["user"]

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> list[str]:
        # What hangs on an adviser's role ends with it in one transaction (farms/services/adviser.py), not here.
        return ["group", "user", "role", "ends_at", "ended_at"] if _is_adviser(obj) else []

    def get_fieldsets(self, request: HttpRequest, obj: Any = None) -> Any:
        fieldsets = super().get_fieldsets(request, obj)
        if not _is_adviser(obj):
            return fieldsets
        where = _(
            "A coordinator lets an adviser leave, on the group's page “Who advises, who left and who takes over”: with "
            "the role end the farms' consents, keys and visits, and each farm is told."
        )
        return [(None, {**dict(fieldsets[0][1]), "description": where})]


def _is_adviser(role: Any) -> bool:
    return role is not None and role.role == GroupRole.ADVISER


@admin.register(User)
class UserAdmin(NothingDeleted):
    """People sign in by a mailed code: there is no password to set."""

    list_display = ["email", "name", "language", "is_active", "is_staff", "last_login"]
    list_filter = ["is_active", "is_staff"]
    search_fields = ["email", "name"]
    fields = ["email", "name", "language", "is_active", "is_staff", "is_superuser", "last_login", "date_joined"]
    readonly_fields = ["last_login", "date_joined"]
