"""A small client of the public API, for a program or a farmer's computer; it imports nothing of the rest.

`python -m server.client --help` says what it does; `Flyround` is the same from Python.
"""

from server.client.flyround import Flyround, Refused

__all__ = ["Flyround", "Refused"]
