"""Invariants of the inventory floor that span tables; see propagation.guards for how they work."""

from propagation.guards import Guard

FOR_A_CONTACT = (
    "hold",
    "waiting",
    "sale",
    "trade",
    "safekeeping",
    "credit",
    "acquisitionterms",
)

GUARDS = (
    Guard(
        "contacts_are_merged_without_a_chain",
        "inventory_contact",
        ("INSERT", "UPDATE OF merged_into_id"),
        """
        NEW.merged_into_id IS NOT NULL AND (
            EXISTS (SELECT 1 FROM inventory_contact c WHERE c.id = NEW.merged_into_id AND c.merged_into_id IS NOT NULL)
            OR EXISTS (SELECT 1 FROM inventory_contact c WHERE c.merged_into_id = NEW.id))
        """,
        "A contact is merged into one that was not merged itself.",
    ),
    *(
        Guard(
            f"{record}_is_of_a_contact_one_deals_with",
            f"inventory_{record}",
            ("INSERT", "UPDATE OF contact_id"),
            """
            EXISTS (
                SELECT 1 FROM inventory_contact c
                WHERE c.id = NEW.contact_id AND (c.merged_into_id IS NOT NULL OR c.forgotten_on IS NOT NULL))
            """,
            "Nothing new is written down for a contact that was merged or forgotten.",
        )
        for record in FOR_A_CONTACT
    ),
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
    Guard(
        "a_plug_in_a_sale_is_held_for_nobody_else",
        "inventory_hold",
        ("INSERT", "UPDATE OF plug_id"),
        """
        NEW.released_on IS NULL AND EXISTS (
            SELECT 1 FROM inventory_saleline l JOIN inventory_sale s ON s.id = l.sale_id
            WHERE l.plug_id = NEW.plug_id AND l.cancelled_on IS NULL AND s.left_on IS NULL
                AND s.contact_id <> NEW.contact_id)
        """,
        "A plug in a sale cannot be held for somebody else.",
    ),
    Guard(
        "only_what_is_kept_is_sold",
        "inventory_saleline",
        ("INSERT", "UPDATE OF plug_id, colony_id"),
        """
        NEW.cancelled_on IS NULL AND (
            (NEW.plug_id IS NOT NULL AND NOT EXISTS (
                SELECT 1 FROM propagation_plug p WHERE p.id = NEW.plug_id AND p.fate = 'kept'))
            OR (NEW.colony_id IS NOT NULL AND NOT EXISTS (
                SELECT 1 FROM propagation_colony c WHERE c.id = NEW.colony_id AND c.ended_on IS NULL)))
        """,
        "Only a plug or a colony that is kept can be sold.",
    ),
    Guard(
        "what_is_traded_is_not_sold",
        "inventory_saleline",
        ("INSERT", "UPDATE OF plug_id, colony_id"),
        """
        NEW.cancelled_on IS NULL AND EXISTS (
            SELECT 1 FROM inventory_tradeline t
            WHERE t.cancelled_on IS NULL AND (t.plug_id = NEW.plug_id OR t.colony_id = NEW.colony_id))
        """,
        "What is in a trade cannot be sold.",
    ),
    Guard(
        "a_sale_line_taken_out_stays_out",
        "inventory_saleline",
        ("UPDATE OF cancelled_on",),
        "OLD.cancelled_on IS NOT NULL AND NEW.cancelled_on IS NULL",
        "A line taken out of a sale stays out; put the plug in anew.",
    ),
    Guard(
        "only_what_is_kept_is_traded",
        "inventory_tradeline",
        ("INSERT", "UPDATE OF plug_id, colony_id"),
        """
        NEW.cancelled_on IS NULL AND (
            (NEW.plug_id IS NOT NULL AND NOT EXISTS (
                SELECT 1 FROM propagation_plug p WHERE p.id = NEW.plug_id AND p.fate = 'kept'))
            OR (NEW.colony_id IS NOT NULL AND NOT EXISTS (
                SELECT 1 FROM propagation_colony c WHERE c.id = NEW.colony_id AND c.ended_on IS NULL)))
        """,
        "Only a plug or a colony that is kept can be traded.",
    ),
    Guard(
        "what_is_sold_is_not_traded",
        "inventory_tradeline",
        ("INSERT", "UPDATE OF plug_id, colony_id"),
        """
        NEW.cancelled_on IS NULL AND EXISTS (
            SELECT 1 FROM inventory_saleline l
            WHERE l.cancelled_on IS NULL AND (l.plug_id = NEW.plug_id OR l.colony_id = NEW.colony_id))
        """,
        "What is in a sale cannot be traded.",
    ),
)
