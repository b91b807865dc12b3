"""Users, who sign in by a mailed code, and the people who count, who need no account."""

from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.db import models
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7
from farms.models.group import LANGUAGES
from farms.showing import CELSIUS, FAHRENHEIT, DaysForm
from farms.tenancy.keys import FarmRecord


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "User":
        """A user who signs in by mailed code; no password is usable unless one is given."""
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db, force_insert=True)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> "User":
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)


class User(AbstractBaseUser, PermissionsMixin):
    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    email = models.EmailField(_("e-mail address"), unique=True)
    name = models.CharField(_("name"), max_length=120, blank=True)
    language = models.CharField(_("language"), max_length=5, choices=LANGUAGES, default="en")
    # How temperatures and days are shown to them (farms/showing.py); empty: as usual.
    degrees = models.CharField(
        max_length=1, blank=True, default="", db_default="", choices=[(CELSIUS, "°C"), (FAHRENHEIT, "°F")]
    )
    days = models.CharField(max_length=12, blank=True, default="", db_default="", choices=DaysForm)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)
    date_joined = models.DateTimeField(auto_now_add=True)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    class Meta:
        constraints = [
            models.CheckConstraint(name="user_email_is_lower_case", condition=models.Q(email=Lower("email")))
        ]

    def __str__(self) -> str:
        return self.name or self.email


class Person(FarmRecord):
    """Somebody who counts on a farm. Names stay here, where they can be erased; a reading holds the id only."""

    name = models.CharField(_("name"), max_length=120)
    initials = models.CharField(_("initials"), max_length=6)
    user = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name
