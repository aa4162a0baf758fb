"""Invariants of the inventory floor that span tables; see propagation.guards for how they work."""

from propagation.guards import Guard

GUARDS = (
    Guard(
        "only_a_kept_plug_is_held",
        "inventory_hold",
        ("INSERT", "UPDATE OF plug_id"),
        """
        NOT EXISTS (
            SELECT 1 FROM propagation_plug p
            WHERE p.id = NEW.plug_id AND p.fate = 'kept' AND p.stage = 'healed' AND NOT p.is_insurance)
        """,
        "Only a kept, healed plug that is not insurance can be held.",
    ),
)
