"""A group and its first coordinator, on a new installation; prints a link that signs the coordinator in."""

from argparse import ArgumentParser
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from farms.errors import FlyroundError
from farms.services import NewGroup, begin_group, make_sign_in_link

LINK_LIVES = timedelta(hours=24)


class Command(BaseCommand):
    help = "Begin a group with its first coordinator, and print a one-time link that signs the coordinator in."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="what the group is called")
        parser.add_argument("--coordinator", required=True, metavar="MAIL", help="the coordinator's e-mail address")
        parser.add_argument("--coordinator-name", required=True, metavar="NAME")
        parser.add_argument("--time-zone", required=True, help="of the group, as America/Chicago")
        parser.add_argument("--language", default="en", choices=[code for code, _name in settings.LANGUAGES])
        parser.add_argument("--region", action="append", default=[], help="a region's name; may be given several times")

    def handle(self, *args: Any, **given: Any) -> None:
        group = NewGroup(given["name"], given["time_zone"], given["language"], given["region"])
        try:
            with transaction.atomic():
                made, user = begin_group(group=group, email=given["coordinator"], name=given["coordinator_name"])
                key = make_sign_in_link(user=user, now=timezone.now(), valid_for=LINK_LIVES)
        except FlyroundError as refusal:
            details = " ".join(each.detail for each in refusal.errors)
            raise CommandError(details or str(refusal)) from refusal
        self.stdout.write(f"{made.name} is there, and {user} coordinates it.")
        self.stdout.write(f"Signs {user} in once, within 24 hours; a mailed code does so at any time:")
        self.stdout.write(settings.SITE_URL + reverse("sign_in_link", args=[key]))
        self.stdout.write(f"Then go on at {settings.SITE_URL}{reverse('group_start', args=[made.id])}")
