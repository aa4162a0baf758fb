from django.db import transaction
from simple_history.utils import bulk_update_with_history

from propagation.actions.check_healing import lock_plugs
from propagation.errors import PlugGone
from propagation.models import Plug
from propagation.promises import refuse_promised


@transaction.atomic
def set_insurance(*, plugs, set_aside: bool, by=None) -> list[Plug]:
    """Set plugs aside as living insurance of their lineage, or release them from it. Returns those that changed.

    Raises PlugGone for one that is no longer kept, PlugPromised for one that somebody was promised.
    """
    locked = lock_plugs(plugs)
    for plug in locked:
        if not plug.is_kept:
            raise PlugGone(plug, "set aside" if set_aside else "released")
    changed = [plug for plug in locked if plug.is_insurance != set_aside]
    if set_aside:
        refuse_promised(changed)
    for plug in changed:
        plug.is_insurance = set_aside
    bulk_update_with_history(changed, Plug, ["is_insurance"], default_user=by)
    return changed
