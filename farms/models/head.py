"""Each day's signed head over all farms' chains, each farm's place in it, and the hashes of rows that were erased."""

from django.db import models

from farms.tenancy.keys import FarmRecord


class SigningKey(models.Model):
    """A public key that signed a day: kept for good. The private one is in a file, never here.

    `id` is the SHA-256 of the 32 bytes of the public key, in hexadecimal.
    """

    id = models.CharField(primary_key=True, max_length=64)
    public = models.BinaryField(max_length=32)
    first_used_on = models.DateField()


class DailyHead(models.Model):
    """What was signed on a day: the root over the heads of all farms' chains, as they stood at `made_at`.

    `document` is the signed text to the letter, as filed and mailed; `hash` its SHA-256. `leaves` are the leaf hashes
    in their order, 32 bytes each, with no farm's id: when a farm is erased, the others' proofs stay.
    """

    day = models.DateField(primary_key=True)
    made_at = models.DateTimeField()
    document = models.TextField()
    hash = models.BinaryField(max_length=32)
    leaves = models.BinaryField()
    # What becomes of it outside: found due and not done at each ring (server.evidence.days).
    filed_at = models.DateTimeField(null=True)
    mailed_at = models.DateTimeField(null=True)
    stamped_at = models.DateTimeField(null=True)
    # The authority's whole answer (RFC 3161, TimeStampResp) and the certificates it was checked by, in PEM.
    stamp = models.BinaryField(null=True)
    authority = models.TextField(blank=True, default="")
    next_try_at = models.DateTimeField()
    tries = models.IntegerField(default=0)
    # For whoever runs the service: what failed last.
    error = models.TextField(blank=True, default="")


class HeadLeaf(FarmRecord):
    """A farm's place in a day's tree: how many entries its chain had, and its leaf's salt. It goes with the farm."""

    day = models.DateField()
    number = models.BigIntegerField()
    place = models.IntegerField()
    salt = models.BinaryField(max_length=16)

    class Meta:
        constraints = [models.UniqueConstraint(name="head_leaf_once_a_day", fields=["farm", "day"])]


class ErasedRow(FarmRecord):
    """What stays of a chained row that was erased: its hash, by which its entry of the chain still holds."""

    table = models.CharField(max_length=63)
    of_entry = models.BigIntegerField()
    row_hash = models.BinaryField(max_length=32)
    erased_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(name="erased_row_by_entry", fields=["farm", "of_entry"])]
