from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from simple_history.models import HistoricalRecords

from labels.passports.signing import fingerprint
from propagation import codes


class KnownKey(models.Model):
    """The key of another keeper, seen in a passport; named by the keeper who has compared its fingerprint."""

    did = models.CharField(max_length=80, unique=True, editable=False, help_text="The key itself, as did:key:z6Mk…")
    name = models.CharField("Whose key it is", max_length=80, blank=True)
    first_seen = models.DateTimeField(auto_now_add=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["name", "first_seen", "id"]
        constraints = [
            models.UniqueConstraint(Lower("name"), condition=~Q(name=""), name="one_known_key_per_name"),
        ]

    def __str__(self):
        return self.name or " ".join(self.fingerprint)

    @property
    def fingerprint(self) -> tuple[str, ...]:
        return fingerprint(self.did)


class Passport(models.Model):
    """The passport with which something came: another keeper's signed history of it, kept as it was signed."""

    acquisition = models.OneToOneField("propagation.Acquisition", on_delete=models.PROTECT, related_name="passport")
    text = models.TextField(editable=False, help_text="The document in canonical form (RFC 8785).")
    digest = models.CharField(max_length=64, unique=True, editable=False, help_text="SHA-256 of the text, in hex.")
    # None for one that this keeper signed: a plug of their own that came back with it.
    key = models.ForeignKey(KnownKey, on_delete=models.PROTECT, null=True, related_name="passports")
    code = models.CharField(max_length=8, editable=False, help_text="The code it has with the keeper who signed.")
    about = models.CharField(max_length=400, editable=False)
    is_colony = models.BooleanField(editable=False)
    imported_at = models.DateTimeField(auto_now_add=True)
    imported_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-imported_at", "-id"]
        constraints = [
            # A plug comes once; of a colony several frags may come, each with a passport of its own day.
            models.UniqueConstraint(
                fields=["about"], condition=Q(is_colony=False, key__isnull=False), name="one_import_per_plug"
            ),
        ]

    def __str__(self):
        return f"Passport of {self.code_in_clear}"

    @property
    def code_in_clear(self) -> str:
        return codes.in_clear(self.code)
