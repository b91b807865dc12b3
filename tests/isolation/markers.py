"""Whether an answer says anything of a farm: its words, its numbers and its ids, also inside packed files."""

import gzip
import io
import re
import zipfile
from typing import Any

from pypdf import PdfReader

from tests.isolation.asks import Ask
from tests.isolation.scene import Asker, FarmScene, Scene

ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
# A file that was looked through waits under an id that is new each time.
WAITING = re.compile(rb"/file/[0-9a-f-]{36}/")
# So does a table of one's own, to which whoever chose it is led.
LED_TO = re.compile(r"(/file/table/)[0-9a-f-]{36}/$")
KEY = re.compile(r"/([\w-]{43})/")
# The id of the request, and the second in which it was answered.
CHANGING = ("X-Request-ID", "Expires", "Last-Modified")
# The group's, not the farm's: known to everybody of it.
NOT_THE_FARMS = {"region_id", "group_id", "adviser_id", "group_adviser_id", "guest_id", "group_invitation_id"}
NOT_THE_FARMS |= {"product_id", "link_key", "feed_key", "choice_key"}
CSRF = re.compile(rb'(name="csrfmiddlewaretoken" value=")[^"]*|(X-CSRFToken[^}]{0,12})[A-Za-z0-9]{64}')


def content_of(response: Any) -> bytes:
    """The answer's bytes, of one that is streamed too; read once."""
    if not hasattr(response, "isolated_content"):
        streamed = getattr(response, "streaming", False)
        response.isolated_content = b"".join(response.streaming_content) if streamed else response.content
    found: bytes = response.isolated_content
    return found


def told_in(response: Any) -> str:
    """Everything that can be read in an answer: headers, and the body with what is packed in it unpacked."""
    headers = "\n".join(f"{name}: {value}" for name, value in response.headers.items())
    return headers + "\n" + readable(content_of(response))


def readable(content: bytes) -> str:
    if content.startswith(b"PK\x03\x04"):
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            return "\n".join(readable(packed.read(name)) for name in packed.namelist())
    if content.startswith(b"\x1f\x8b"):
        return readable(gzip.decompress(content))
    if content.startswith(b"PAR1"):
        import pyarrow.parquet

        table = pyarrow.parquet.read_table(io.BytesIO(content))
        return str(table.to_pylist()) + str(table.schema)
    if content.startswith(b"%PDF"):
        return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)
    return content.decode(errors="replace")


class Markers:
    """What an asker may not be told, and what of it an answer tells."""

    def __init__(self, scene: Scene, asker: Asker) -> None:
        strangers = scene.strangers_to(asker)
        own = {each for farm in scene.farms.values() if asker.may_see(farm) for each in _ids(farm)}
        own |= {str(asker.user.id)} if asker.user else set()
        self.ids = {each for farm in strangers for each in _ids(farm)} - own
        self.words = [farm.word.lower() for farm in strangers]
        # Sister's people may know who owns it, who is named for Home.
        self.known = {farm.owner.name.lower() for farm in scene.farms.values() if asker.may_see(farm)}
        tens = "|".join(str(farm.number)[:4] for farm in strangers)
        # 61370 to 61379, and as a page writes it, 61,370; not the middle of an id, a key or a fraction.
        spelled = "|".join(f"{str(farm.number)[:2]},{str(farm.number)[2:4]}" for farm in strangers)
        self.numbers = re.compile(rf"(?<![\w.-])(?:{tens}|{spelled})\d(?![\w-])") if strangers else None

    def in_answer(self, response: Any, ask: Ask) -> set[str]:
        """The markers of foreign farms in an answer, but for what the request itself said."""
        text, said = told_in(response), ask.text.lower()
        found = set(ID.findall(text)) & self.ids
        lower = text.lower()
        for name in self.known:
            lower = lower.replace(name, "")
        found |= {word for word in self.words if word in lower}
        found |= set(self.numbers.findall(text)) if self.numbers else set()
        return {each for each in found if each not in said}


def _ids(farm: FarmScene) -> set[str]:
    return {each for name, found in farm.ids.items() if name not in NOT_THE_FARMS for each in found}


def comparable(response: Any, ask: Ask) -> tuple[int, bytes, dict[str, str]]:
    """An answer as it must be the same for a foreign farm and for none: the ids that were sent are put out of sight,
    and so is the secret against forged forms, which is new in every page.
    """
    content = WAITING.sub(b"", CSRF.sub(rb"\1\2", content_of(response)))
    headers = {name: value for name, value in response.headers.items() if name not in CHANGING}
    if "Location" in headers:
        headers["Location"] = LED_TO.sub(r"\1", headers["Location"])
    for place, each in enumerate(dict.fromkeys(ID.findall(ask.text) + KEY.findall(ask.address))):
        content = content.replace(each.encode(), f"<id {place}>".encode())
        headers = {name: value.replace(each, f"<id {place}>") for name, value in headers.items()}
    return response.status_code, content, headers
