"""What a keeper wrote for papers alone: it stands on papers and behind their secret links, and nowhere else."""

from propagation.models import Preferences

FOR_PAPERS = {
    "paper_name": "Onpaper Name",
    "postal_address": "Onpaper Quay 1\n00000 Onpaper-on-Sea",
    "paper_reach": "onpaper@tidepool.example",
    "tax_number": "Onpaper number XX 000",
    "receipt_closing": "Onpaper closing words",
}
EVERYWHERE_IN_IT = "onpaper"


def keep_for_papers(**told) -> Preferences:
    return Preferences.objects.update_or_create(pk=1, defaults=FOR_PAPERS | told)[0]


def tells_of_it(content: bytes | str) -> bool:
    text = content.decode() if isinstance(content, bytes) else content
    return EVERYWHERE_IN_IT in text.lower()
