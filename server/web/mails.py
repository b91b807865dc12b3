"""The demo's mails, read back from the files of Django's file backend: one file a connection, mails in a row."""

import base64
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from email.utils import parsedate_to_datetime
from pathlib import Path

# The line that Django's file and console backends put behind each mail.
BETWEEN = b"\n" + b"-" * 79 + b"\n"
NAME = re.compile(r"[0-9A-Za-z][0-9A-Za-z._-]*\.(log|eml)")


@dataclass(frozen=True)
class Mail:
    """One mail: where it lies (`name`, `number` from 0) and what it holds."""

    name: str
    number: int
    message: EmailMessage

    @property
    def subject(self) -> str:
        return str(self.message["Subject"] or "")

    @property
    def to(self) -> str:
        return str(self.message["To"] or "")

    @property
    def sent_at(self) -> datetime:
        """In UTC; the earliest moment there is where the mail carries no date."""
        try:
            return parsedate_to_datetime(str(self.message["Date"])).astimezone(UTC)
        except ValueError:
            return datetime.min.replace(tzinfo=UTC)

    @property
    def text(self) -> str:
        return self._body("plain")

    @property
    def html(self) -> str:
        """The HTML part with its pictures inside, so that showing it fetches nothing; empty where there is none."""
        body = self._body("html")
        for cid, picture in self._pictures().items():
            body = body.replace(f"cid:{cid}", picture)
        return body

    def _body(self, kind: str) -> str:
        part = self.message.get_body((kind,))
        return str(part.get_content()) if part is not None else ""

    def _pictures(self) -> dict[str, str]:
        found = {}
        for part in self.message.walk():
            if part.get_content_maintype() == "image" and part["Content-ID"]:
                data = base64.b64encode(part.get_payload(decode=True)).decode()  # type: ignore[arg-type]
                found[str(part["Content-ID"]).strip("<> ")] = f"data:{part.get_content_type()};base64,{data}"
        return found


def mails_in(folder: Path, *, newest: int = 200) -> list[Mail]:
    """The newest mails, newest first. Reads no more files than it needs: their names begin with their time."""
    found: list[Mail] = []
    for path in sorted(folder.glob("*.*"), reverse=True):
        if NAME.fullmatch(path.name):
            found += reversed(_read(path))
        if len(found) >= newest:
            break
    return sorted(found, key=lambda mail: (mail.sent_at, mail.name, mail.number), reverse=True)[:newest]


def mail_at(folder: Path, name: str, number: int) -> Mail | None:
    """One mail by its place; None where there is none. A name that could lead out of the folder is no name."""
    path = folder / name
    if not NAME.fullmatch(name) or not path.is_file():
        return None
    mails = _read(path)
    return mails[number] if number < len(mails) else None


def _read(path: Path) -> list[Mail]:
    parts = [part.strip(b"\n") for part in path.read_bytes().replace(b"\r\n", b"\n").split(BETWEEN)]
    messages = [message_from_bytes(part, _class=EmailMessage, policy=policy.default) for part in parts if part]
    return [Mail(path.name, number, message) for number, message in enumerate(messages)]
