"""The service worker as one script: the modules that the pages use too, put behind each other.

Not every browser takes a worker made of modules, and a worker is looked at anew only where its own text changes. So
the modules must have names of their own at the top, and `import` on one line each.
"""

import re
from functools import cache
from pathlib import Path

from django.conf import settings

FOLDER = Path(__file__).parent / "static" / "web" / "offline"
# Each after those whose names it uses.
PARTS = ("words.js", "ids.js", "store.js", "queue.js", "send.js", "keep.js", "at-once.js", "worker.js")
IMPORT = re.compile(r'^import .* from "\./[a-z-]+\.js";\n', re.MULTILINE)
EXPORT = re.compile(r"^export (?=const |let |class |async |function )", re.MULTILINE)


def worker_script() -> str:
    return _joined() if not settings.DEBUG else _joined.__wrapped__()


@cache
def _joined() -> str:
    texts = ((FOLDER / name).read_text(encoding="utf-8") for name in PARTS)
    plain = "\n".join(EXPORT.sub("", IMPORT.sub("", text)) for text in texts)
    return f'"use strict";\nself.STATIC = {settings.STATIC_URL!r};\n{plain}'
