from django.core.files.storage import default_storage
from django.core.management.base import CommandError
from django.utils import timezone

from propagation.actions.mend_copies import SIDES, delete_orphan, mend_copy
from propagation.errors import RametError
from propagation.management.keeper_command import KeeperCommand
from propagation.models import Photo
from propagation.readings.stored_files import check_all_files, orphans


class Command(KeeperCommand):
    help = (
        "Look whether every file that the records name is there and whole: originals by their digest, copies and films "
        "by opening them. Exit code 1 names each that is not."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--mend",
            action="store_true",
            help="Make lost copies again from their originals, and delete files of a day or more that no record names.",
        )

    def answer(self, *, mend, **options):
        checked, wrong, mended = 0, [], []
        for checked, trouble in check_all_files():  # noqa: B007 - how many there were is told
            if trouble is None:
                continue
            (mended if mend and self.is_mended(trouble) else wrong).append(trouble)
        nobodys = list(orphans(default_storage, timezone.now()))
        if mend:
            for path in nobodys:
                delete_orphan(path=path)
        self.wrong = len(wrong)
        return {
            "checked": checked,
            "wrong": [each.sentence for each in wrong],
            "mended": [each.sentence for each in mended],
            "named_by_nobody": nobodys,
            "deleted": mend,
        }

    def is_mended(self, trouble):
        if not isinstance(trouble.record, Photo) or trouble.field not in SIDES:
            return False
        try:
            mend_copy(photo=trouble.record, field=trouble.field)
        except RametError:
            return False
        return True

    def handle(self, *args, **options):
        super().handle(*args, **options)
        if self.wrong:
            one = self.wrong == 1
            raise CommandError(f"{self.wrong} file{' is' if one else 's are'} not there or not whole.")

    def lines(self, answer):
        yield from answer["wrong"]
        yield from (f"Made again: {sentence}" for sentence in answer["mended"])
        for path in answer["named_by_nobody"]:
            yield f"{'Deleted' if answer['deleted'] else 'Named by no record'}: {path}"
        whole = answer["checked"] - len(answer["wrong"])
        yield f"{whole} of {answer['checked']} files are there and whole."
