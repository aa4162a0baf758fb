from propagation.dates import day_in_words
from propagation.errors import BadValue
from propagation.forecasts.plans import plan_of, told_plan
from propagation.management.keeper_command import KeeperCommand
from propagation.models import Colony
from propagation.readings.find import find_colony


class Command(KeeperCommand):
    help = "How far to cut a mother back, and how often, for most frags a year; and what today's habit gives."

    def add_arguments(self, parser):
        parser.add_argument("tag", help="Tag or code of the mother.")

    def answer(self, *, tag, **options):
        colony = find_colony(tag, among=Colony.objects.select_related("lineage"))
        if colony.began_on > self.today:
            raise BadValue(
                f"{colony.tag} is kept from {day_in_words(colony.began_on)} on; there is no plan before that day."
            )
        self.plan = plan_of(colony, self.today)
        return told_plan(self.plan)

    def lines(self, answer):
        plan = self.plan
        yield f"{plan.colony.tag} · {plan.colony.lineage.name}"
        if plan.best is None:
            yield from (f"  {reason}" for reason in plan.because)
        else:
            yield f"  {plan.best_words}"
        if plan.habit is not None:
            yield f"  {plan.habit_words}"
            yield f"      {plan.habit_of.basis} {plan.habit_of.frag_words}"
        if plan.gain_words:
            yield f"  {plan.gain_words}"
        for limit in plan.limits:
            yield f"      {limit}"
