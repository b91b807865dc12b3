"""`manage.py demo`: from nothing to a served site with a season in it, on real servers and processes."""

import contextlib
import fcntl
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import connections, transaction
from django.urls import reverse
from django.utils import timezone

from farms import services as farm_services
from farms.models import User
from server.demo import scenario
from server.demo.farmyard import Yard
from server.demo.load import Stage, load, program_key
from server.demo.pictures import take_pictures
from server.demo.processes import DemoError, Processes, free_port, running, start_site, start_worker
from server.demo.season import Season
from server.demo.tally import tally
from server.evidence.keys import make_key

LINKS = {
    "recorder": scenario.PEOPLE["recorder"][0],
    "owner": "owner.hollow.creek@example.org",
    "adviser": scenario.PEOPLE["north"][0],
    "coordinator": scenario.PEOPLE["coordinator"][0],
}


@dataclass(frozen=True)
class Folder:
    """The demo's part of the data folder."""

    data: Path

    @property
    def clock(self) -> Path:
        return self.data / "clock"

    @property
    def mail(self) -> Path:
        return self.data / "mail"

    @property
    def logs(self) -> Path:
        return self.data / "demo"

    @property
    def key(self) -> Path:
        return self.data / "heads-key.pem"

    @property
    def heads(self) -> Path:
        """Where each day's signed head is filed: outside the database."""
        return self.data / "heads"

    @property
    def finished(self) -> Path:
        """Written at the end of loading: without it a start begins anew."""
        return self.data / "demo.json"

    @contextlib.contextmanager
    def alone(self) -> Iterator[None]:
        """Hold the folder; raise DemoError where a demo holds it. The kernel lets go however this process ends."""
        with (self.data / "demo.lock").open("ab") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise DemoError(
                    f"A demo runs on {self.data} already: stop it with Ctrl-C first, "
                    "or set FLYROUND_DATA to another folder."
                ) from None
            yield


def environment(folder: Folder, port: int) -> dict[str, str]:
    """What the demo's processes see beside the servers' addresses."""
    return {
        "CLOCK_FILE": str(folder.clock),
        "DEMO_MAIL_DIR": str(folder.mail),
        "HEADS_KEY": str(folder.key),
        "HEADS_DIR": str(folder.heads),
        "EMAIL_URL": f"filemail://{folder.mail}",
        "SITE_URL": f"http://127.0.0.1:{port}",
        "DJANGO_SETTINGS_MODULE": "server.settings",
        "PYTHONPATH": str(settings.BASE_DIR),
        "LOG_LEVEL": "WARNING",
    }


def serve(folder: Folder, *, wanted_port: int, once: bool, pictures: Path | None = None) -> None:
    """Load what isn't loaded, then serve until Ctrl-C; with `once`, print the tally as one JSON object instead.

    `pictures`: a folder for a picture of every page; it ends when they are taken.
    """
    began = time.monotonic()
    folder.mail.mkdir(parents=True, exist_ok=True)
    folder.heads.mkdir(exist_ok=True)
    if not folder.key.exists():
        make_key(folder.key)
    port = free_port(wanted_port)
    with running(folder.logs, environment(folder, port)) as processes:
        if not folder.finished.exists():
            _begin(folder, processes, port)
        elif not once:
            start_site(processes, port)
            start_worker(processes)
        if once:
            say(json.dumps(tally()))
            return
        if pictures:
            number = take_pictures(f"http://127.0.0.1:{port}", _links(port), pictures)
            say(f"{number} pages are pictured in {pictures}.")
            return
        _invite(port, time.monotonic() - began)
        _hold(processes)


def _begin(folder: Folder, processes: Processes, port: int) -> None:
    for old in (*folder.mail.iterdir(), *folder.heads.iterdir()):
        old.unlink()
    say("Making the tables")
    call_command("migrate", database="owner", verbosity=0)
    connections.close_all()
    folder.clock.write_text(timezone.now().isoformat())
    say("Starting the web server and the worker")
    start_site(processes, port)
    start_worker(processes)
    say("Loading an invented season; a real worker judges each Monday and sends the mails")
    stage = Stage(folder.clock, say, lambda: _check_alive(processes))
    load(stage, lambda yard, season: _bring(folder, yard, season, port))
    folder.finished.write_text(json.dumps(tally()))


def _bring(folder: Folder, yard: Yard, season: Season, port: int) -> None:
    """The newcomer's season goes the way of any program: a CSV file, through the API, by the client command."""
    file = folder.logs / "quarry-side.csv"
    file.write_text(season.as_csv(yard))
    result = subprocess.run(
        [
            sys.executable, "-m", "server.client", "send", str(file),
            "--farm", str(yard.farm.id), "--site", f"http://127.0.0.1:{port}",
        ],
        # A folder of its own: whoever tries the demo may be signed in elsewhere.
        env=os.environ | {
            "FLYROUND_TOKEN": program_key(yard), "FLYROUND_HOME": str(folder.logs / "client"),
            "PYTHONPATH": str(settings.BASE_DIR),
        },
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if result.returncode != 0:
        raise DemoError(f"The file {file} was not taken: {result.stdout}{result.stderr}")
    say(f"  {yard.dairy.name} sent its season as a file: {result.stdout.strip().splitlines()[-1]}")


def _check_alive(processes: Processes) -> None:
    ended = processes.ended()
    if ended is not None:
        raise DemoError(f"A process of the demo ended by itself. See the logs in {processes.logs}.")


def _invite(port: int, seconds: float) -> None:
    site = f"http://127.0.0.1:{port}"
    say(f"Ready after {seconds:.0f} s at {site}/ (it is {scenario.TODAY:%A, %B %-d, %Y} there; all of it is invented)")
    say(f"  mails: {site}{reverse('mails')}   API: {site}/api/v1/docs/")
    say("Sign in, once each:")
    for role, link in _links(port).items():
        say(f"  {role:11} {link}")
    say("Ctrl-C stops everything.")


def _links(port: int) -> dict[str, str]:
    """A sign-in link for each role, good for a day and once."""
    links = {}
    for role, email in LINKS.items():
        with transaction.atomic():
            user = User.objects.get(email=email)
            key = farm_services.make_sign_in_link(user=user, now=timezone.now(), valid_for=timedelta(days=1))
        links[role] = f"http://127.0.0.1:{port}{reverse('sign_in_link', args=[key])}"
    return links


def _hold(processes: Processes) -> None:
    try:
        while True:
            _check_alive(processes)
            time.sleep(0.5)
    except KeyboardInterrupt:
        say("Stopping.")


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
