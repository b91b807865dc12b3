"""A client of the public API, for a program or a farmer's computer; it imports nothing of the rest.

`python -m server.client --help` says what it does; from Python it is `Flyround`, and for rounds that must not be lost
`Book`, `put_in_line` and `send_line`. docs/client.md shows both.
"""

from server.client.answers import Away, Refused
from server.client.book import Book, Busy
from server.client.flyround import Flyround, Plan
from server.client.waiting import put_in_line, send_line

__all__ = ["Away", "Book", "Busy", "Flyround", "Plan", "Refused", "put_in_line", "send_line"]
