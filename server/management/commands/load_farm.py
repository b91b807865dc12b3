"""`manage.py load_farm FILE`: a farm's archive into an installation that doesn't have the farm."""

from argparse import ArgumentParser
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.core.validators import validate_email
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from farms.models import Membership, User
from farms.models.access import FarmRole
from farms.services import make_sign_in_link
from server.farm_archive import ArchiveRefused, Loaded, load
from server.farm_archive.loading import OWNER, opened_for_a_membership, told_where_busy

LINK_LIVES = timedelta(hours=24)
GROUP = (
    "Its group is new here, with the group's levels and terms: name its coordinator and advisers in the office "
    "(/office/)."
)
PEOPLE = (
    "{people} people stand in the records under their ids and names. They have no address and can't sign in; who works "
    "here is invited anew."
)
CONSENT = (
    "No consent came along: a yes was given to other people, in another place. The owner agrees anew to an adviser, to "
    "the comparison, and to the data agreement's newest version."
)
KEYS = "Keys, farm phones, webhooks and the choice of mails are made anew. Look at the farm's page before you count."


class Command(BaseCommand):
    help = "Loads a farm's archive where the farm isn't yet: all of it, or nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--owner", required=True, metavar="MAIL", help="who owns it here; prints a one-time link")

    def handle(self, *args: Any, **given: Any) -> None:
        if OWNER not in settings.DATABASES:
            raise CommandError("Set DATABASE_URL_OWNER: only the role that owns the tables may load a farm's rows.")
        try:
            # Before anything is stored: a farm that nobody can enter helps nobody.
            validate_email(given["owner"])
        except ValidationError as error:
            raise CommandError(
                f"{given['owner']} is no e-mail address, and nothing was stored: name the owner's."
            ) from error
        email = given["owner"].lower()
        try:
            # Both or neither, so that whoever had to wait too long can simply try again.
            with transaction.atomic(using=OWNER), told_where_busy():
                loaded = load(given["file"])
                owner = self.owner_of(loaded, email)
        except ArchiveRefused as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(f"{loaded.farm.name} is here: {loaded.rows:,} rows, its chain holds.")
        self.let_in(owner, email)
        self.tell_what_is_next(loaded)

    def owner_of(self, loaded: Loaded, email: str) -> User:
        with opened_for_a_membership():
            user = User.objects.using(OWNER).filter(email=email).first()
            if user is None:
                user = User(email=email, language=loaded.farm.language)
                user.set_unusable_password()
                user.save(using=OWNER, force_insert=True)
            Membership.objects.using(OWNER).create(
                farm_id=loaded.farm.id, user_id=user.id, role=FarmRole.OWNER, began_at=timezone.now()
            )
        return user

    def let_in(self, owner: User, email: str) -> None:
        with transaction.atomic():
            key = make_sign_in_link(user=owner, now=timezone.now(), valid_for=LINK_LIVES)
        self.stdout.write(
            f"{email} owns it here. Signs them in once, within 24 hours; a mailed code does so at any time:"
        )
        self.stdout.write(settings.SITE_URL + reverse("sign_in_link", args=[key]))

    def tell_what_is_next(self, loaded: Loaded) -> None:
        told = [CONSENT, KEYS]
        if loaded.people:
            told.insert(0, PEOPLE.format(people=loaded.people))
        if loaded.group_is_new:
            told.insert(0, GROUP)
        for line in told:
            self.stdout.write(f"- {line}")
