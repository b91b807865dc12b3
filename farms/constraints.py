"""The database states the invariant, the service explains it: a broken constraint becomes an error with a sentence."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from django.db import IntegrityError, transaction

from farms.errors import FlyroundError


@contextmanager
def explained(errors: Mapping[str, FlyroundError], *, using: str = "default") -> Iterator[None]:
    """Raise the error that belongs to a named constraint where it breaks; any other IntegrityError passes on."""
    try:
        with transaction.atomic(using=using):
            yield
    except IntegrityError as error:
        diagnosis = getattr(error.__cause__, "diag", None)
        known = errors.get(getattr(diagnosis, "constraint_name", None) or "")
        if known is None:
            raise
        raise known from error
