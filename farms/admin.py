"""The office's tables: the group, its parts, and who works for it. Nothing of a farm.

Farm tables are not here: the admin refuses composite keys, and row security would show it nothing. Rows are never
deleted here; the role of the pages has no right to.
"""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.http import HttpRequest

from farms.models import Group, GroupMember, Holding, Region, User

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


@admin.register(User)
class UserAdmin(NothingDeleted):
    """People sign in by a mailed code: there is no password to set."""

    list_display = ["email", "name", "language", "is_active", "is_staff", "last_login"]
    list_filter = ["is_active", "is_staff"]
    search_fields = ["email", "name"]
    fields = ["email", "name", "language", "is_active", "is_staff", "is_superuser", "last_login", "date_joined"]
    readonly_fields = ["last_login", "date_joined"]
