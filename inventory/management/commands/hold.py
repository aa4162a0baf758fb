from inventory.actions.hold_plugs import hold_plugs_for
from inventory.errors import NearlyTheSameName
from inventory.readings.chosen import plugs_chosen
from propagation.dates import day_in_words
from propagation.errors import BadValue
from propagation.management.keeper_command import KeeperCommand, day


def name_to_settle(error: NearlyTheSameName, name: str) -> BadValue:
    """The same refusal with the way out that a command has."""
    others = " and ".join(str(other) for other in error.others)
    return BadValue(
        f"{others} {'is' if len(error.others) == 1 else 'are'} known. If {name} is somebody else, add --new."
    )


class Command(KeeperCommand):
    help = (
        "Hold plugs for a contact until a day, that day included: all of them or none. A contact that is not known yet "
        "is met. Whoever has a plug already is named, and nothing is held."
    )

    def add_arguments(self, parser):
        parser.add_argument("codes", nargs="+", metavar="CODE", help="Codes of plugs, as on their labels.")
        parser.add_argument("--for", dest="name", required=True, metavar="NAME", help="The contact.")
        parser.add_argument("--until", required=True, metavar="DATE", help="The last day, as 2026-06-30.")
        parser.add_argument("--note", default="", help="A note for you.")
        parser.add_argument("--new", action="store_true", help="The name is somebody new, though one alike is known.")

    def answer(self, *, codes, name, until, note, new, **options):
        """The holds as plain values, in the order of the plugs' records."""
        plugs = plugs_chosen(codes)
        try:
            holds = hold_plugs_for(
                contact_name=name, is_somebody_new=new, plugs=plugs, until=day(until), today=self.today, note=note
            )
        except NearlyTheSameName as error:
            raise name_to_settle(error, name) from error
        lineages = {plug.pk: plug.lineage.name for plug in plugs}
        return [
            {
                "code": hold.plug.code_in_clear,
                "lineage": lineages[hold.plug_id],
                "for": hold.contact.name,
                "until": hold.until,
            }
            for hold in sorted(holds, key=lambda hold: hold.plug_id)
        ]

    def lines(self, answer):
        for held in answer:
            yield f"{held['code']}  {held['lineage']}: held for {held['for']} until {day_in_words(held['until'])}."
