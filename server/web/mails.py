"""The demo's mails, read back from the files of Django's file backend: one file a connection, mails in a row."""

import base64
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from email import policy
from email.message import EmailMessage
from email.parser import BytesHeaderParser, BytesParser
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


def mails_in(folder: Path) -> list[Mail]:
    """All mails by their headers alone, newest first; `mail_at` reads a whole one."""
    parser = BytesHeaderParser(_class=EmailMessage, policy=policy.default)
    paths = [path for path in folder.glob("*.*") if NAME.fullmatch(path.name)]
    found = [Mail(path.name, number, parser.parsebytes(part)) for path in paths for number, part in _parts(path)]
    return sorted(found, key=lambda mail: (mail.sent_at, mail.name, mail.number), reverse=True)


def mail_at(folder: Path, name: str, number: int) -> Mail | None:
    """One mail by its place; None where there is none. A name that could lead out of the folder is no name."""
    path = folder / name
    if not NAME.fullmatch(name) or not path.is_file():
        return None
    parser = BytesParser(_class=EmailMessage, policy=policy.default)
    part = dict(_parts(path)).get(number)
    return Mail(name, number, parser.parsebytes(part)) if part is not None else None


def _parts(path: Path) -> Iterator[tuple[int, bytes]]:
    parts = (part.strip(b"\n") for part in path.read_bytes().replace(b"\r\n", b"\n").split(BETWEEN))
    return enumerate(part for part in parts if part)
