from django.db import models


class AllottedCode(models.Model):
    """Every code ever given out, to a plug or to a colony. Rows are never deleted, so no code is used twice."""

    text = models.CharField(primary_key=True, max_length=8)
    allotted_at = models.DateTimeField(auto_now_add=True)

    def __str__(self):
        return self.text
