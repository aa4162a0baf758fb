"""What passports tell of a line before it came here, for the ground floor's pages."""

from labels.readings.passports import before_acquisitions
from propagation.provenance import tells_provenance


@tells_provenance
def before(acquisitions):
    return before_acquisitions(acquisitions)
