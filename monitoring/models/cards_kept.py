"""Where a farm keeps its dated cards: old cards are the trade's own proof in a dispute. Rows are only added."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained
from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord


class CardsKept(FarmRecord):
    """From a day on the cards lie there; the newest row of the latest day holds.

    The words may name a person: they are chained by a salted hash, so that the row can be erased.
    """

    words = models.CharField(_("where they are kept"), max_length=300)
    from_on = models.DateField(_("from"))
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    salt = models.BinaryField(max_length=16)
    entry = models.BigIntegerField()

    chained = Chained(salted=("words",))
