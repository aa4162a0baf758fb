"""Trades: what goes out and what comes in, in one act; and taking back one that was written by a slip."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.utils.formats import date_format
from django.utils.timezone import localdate

from inventory.actions.keep_contact import contact_named, locked_contact, refuse_forgotten
from inventory.actions.sale_steps import checked_note, end_holds, locked_things, open_holds_of
from inventory.errors import HeldForOthers, LeavingToConfirm, PlugInSale, PlugTraded
from inventory.models import AcquisitionTerms, Book, Contact, Hold, Safekeeping, SaleLine, Trade, TradeLine
from inventory.money import checked_amount
from propagation.actions.acquire import PackLine, acquire_pack
from propagation.actions.correct_plug import void_plug
from propagation.actions.end_colony import bring_back_colony, end_colony
from propagation.actions.part_with import part_with, take_back_parting
from propagation.errors import AlreadyDone, BadValue, PlugGone
from propagation.models import Acquisition, Colony, EndReason, Fate, HealingStage, Pack, Plug
from propagation.promises import refuse_promised

LONGEST_NOTE = Trade._meta.get_field("note").max_length
LONGEST_PACK_NAME = Pack._meta.get_field("name").max_length


def words_of_leaving(trade: Trade) -> str:
    """What is noted in a hold that a trade ends."""
    return f"Traded to {trade.contact} in trade {trade.pk}"


def _refuse_taken(plugs: Iterable[Plug], colonies: Iterable[Colony], contact: Contact, today: date) -> None:
    """Raises PlugGone, AlreadyDone, PlugInSale, PlugTraded or HeldForOthers for what cannot go out in a trade."""
    plugs, colonies = list(plugs), list(colonies)
    for plug in plugs:
        if not plug.is_kept:
            raise PlugGone(plug, "traded")
    for colony in colonies:
        if colony.ended_on is not None:
            raise AlreadyDone(
                f"Colony {colony.tag} is no longer kept: {colony.get_end_reason_display().lower()} on "
                f"{date_format(colony.ended_on)}. Leave it out."
            )
    standing = SaleLine.objects.standing().select_related("plug", "colony", "sale__contact").order_by("id")
    in_sales = list(standing.filter(plug__in=plugs)) + list(standing.filter(colony__in=colonies))
    if in_sales:
        raise PlugInSale(in_sales, "traded")
    traded = TradeLine.objects.filter(cancelled_on=None).select_related("plug", "colony", "trade__contact")
    in_trade = traded.filter(plug__in=plugs).first() or traded.filter(colony__in=colonies).first()
    if in_trade:
        raise PlugTraded(in_trade, "traded again")
    others = [hold for hold in open_holds_of(plugs) if hold.is_active(today) and hold.contact_id != contact.pk]
    if others:
        raise HeldForOthers(others)


def _ask_about(plugs: Iterable[Plug]) -> None:
    """Raises LeavingToConfirm for plugs that are set aside or not healed."""
    because = [
        f"plug {plug.code_in_clear} is set aside as insurance"
        if plug.is_insurance
        else f"plug {plug.code_in_clear} is {plug.get_stage_display().lower()}, not healed"
        for plug in plugs
        if plug.is_insurance or plug.stage != HealingStage.HEALED
    ]
    if because:
        raise LeavingToConfirm(because)


@transaction.atomic
def trade(
    *,
    contact: Contact,
    plugs: Iterable[Plug] = (),
    colonies: Iterable[Colony] = (),
    lines: Iterable[PackLine] = (),
    on: date,
    today: date,
    cash: Decimal = Decimal(0),
    note: str = "",
    submission: UUID | None = None,
    confirmed: bool = True,
    by=None,
) -> Trade:
    """Plugs and colonies go to a contact for what comes from them: all of it or nothing.

    What goes out ends as traded, and the contact's holds of it end. Each of ``lines`` becomes an acquisition of the
    kind trade, with codes. ``cash`` in the book's currency is what the contact paid on top, below nothing what was paid
    to them. The same ``submission`` finds the trade it made.

    Raises BadValue without something on both sides, PlugGone, PlugInSale, PlugTraded, HeldForOthers (which names them),
    AlreadyDone for a colony that ended, BadDate, BadAmount, and RowErrors naming each line of ``lines`` that is wrong;
    with ``confirmed=False`` LeavingToConfirm for plugs that are set aside or not healed.
    """
    lines, currency = list(lines), Book.current().currency
    out, colonies_out = locked_things(
        plug_ids=[plug.pk for plug in plugs], colony_ids=[colony.pk for colony in colonies]
    )
    # Asked once the plugs are locked: the same form sent twice at once waits here for the first one.
    if submission and (earlier := Trade.objects.filter(submission=submission).first()):
        return earlier
    if not out and not colonies_out:
        raise BadValue(
            "Nothing goes out. Add a plug or a colony by its code; what only comes in is recorded under Bring in.",
            field="add",
        )
    if not lines:
        raise BadValue(
            "Nothing comes in. Fill in a line of what they gave; what only goes out is sold or given away.",
            field="lines",
        )
    contact = locked_contact(contact)
    checked_note(note, LONGEST_NOTE)
    checked_amount(abs(cash), currency=currency, what="The cash on top", field="cash")
    _refuse_taken(out.values(), colonies_out.values(), contact, today)
    if not confirmed:
        _ask_about(out.values())
    made = Trade(
        contact=contact, traded_on=on, currency=currency, cash=cash, note=note, submission=submission, made_by=by
    )
    made._history_user = by
    made.save()
    for plug in out.values():  # before they leave: only what is kept is traded
        _keep_line(made, by=by, plug=plug)
    for colony in colonies_out.values():
        _keep_line(made, by=by, colony=colony)
    end_holds(open_holds_of(out.values()), words=words_of_leaving(made), today=today, by=by)
    if out:
        part_with(plugs=list(out.values()), fate=Fate.TRADED, on=on, today=today, by=by)
    for colony in colonies_out.values():
        end_colony(colony=colony, reason=EndReason.TRADED, on=on, today=today, by=by)
    _, acquisitions = acquire_pack(
        name=f"Trade {made.pk} with {contact}"[:LONGEST_PACK_NAME],
        lines=lines,
        on=on,
        today=today,
        kind=Acquisition.Kind.TRADE,
        by=by,
    )
    for acquisition in acquisitions:
        terms = AcquisitionTerms(acquisition=acquisition, contact=contact)
        terms._history_user = by
        terms.save()
        _keep_line(made, by=by, acquisition=acquisition)
    return made


@transaction.atomic
def trade_with(*, contact_name: str, is_somebody_new: bool, by=None, **told) -> Trade:
    """As `trade`, with whoever has this name; a refusal leaves no contact. Raises also NearlyTheSameName."""
    return trade(contact=contact_named(name=contact_name, confirmed=is_somebody_new, by=by), by=by, **told)


def _keep_line(made: Trade, *, by, **what) -> None:
    line = TradeLine(trade=made, **what)
    line._history_user = by
    line.save()


def _refuse_used(plugs: Iterable[Plug], colonies: Iterable[Colony]) -> None:
    """Raises AlreadyDone or PlugPromised for what came in a trade and was used since."""
    plugs = list(plugs)
    for plug in plugs:
        if not plug.is_kept:
            raise AlreadyDone(
                f"Plug {plug.code_in_clear} came in this trade and is {plug.get_fate_display().lower()} by now, "
                "so the trade stays. Put that right first."
            )
    refuse_promised(plugs)
    for colony in colonies:
        if colony.ended_on is not None:
            what = "has ended"
        elif SaleLine.objects.standing().filter(colony=colony).exists():
            what = "is in a sale"
        elif colony.cut_events.exists():
            what = "was cut"
        elif colony.size_readings.exists():
            what = "was measured"
        elif colony.incidents.exists():
            what = "has an incident"
        else:
            continue
        raise AlreadyDone(f"Colony {colony.tag} came in this trade and {what} since, so the trade stays.")


@transaction.atomic
def cancel_trade(*, trade: Trade, today: date, by=None) -> Trade:
    """A slip of today: the trade did not happen. What went out is kept again, in its cell if that is still free; what
    came becomes void.

    Codes and tags that were given stay used. Holds of the contact that ended with it go on. Cancelled twice is
    cancelled once. Raises AlreadyDone for a trade recorded before today, or if something happened with what came or
    went since, and PlugPromised.
    """
    before = list(trade.lines.filter(cancelled_on=None).values_list("plug", "colony", "acquisition"))
    came = [acquisition for *_, acquisition in before if acquisition]
    plugs, colonies = locked_things(
        plug_ids=[plug for plug, *_ in before if plug]
        + list(Plug.objects.filter(acquisition__in=came).values_list("pk", flat=True)),
        colony_ids=[colony for _, colony, _ in before if colony]
        + list(Colony.objects.filter(acquisition__in=came).values_list("pk", flat=True)),
    )
    trade = Trade.objects.select_for_update(of=("self",)).select_related("contact").get(pk=trade.pk)
    if trade.cancelled_on:
        return trade
    refuse_forgotten(trade.contact)
    if localdate(trade.made_at) != today:
        raise AlreadyDone(
            f"Trade {trade.pk} was recorded on {date_format(localdate(trade.made_at))}; only one of today can be taken "
            "back. What comes back is recorded as a return."
        )
    new_plugs = [plug for plug in plugs.values() if plug.acquisition_id in came]
    new_colonies = [colony for colony in colonies.values() if colony.acquisition_id in came]
    _refuse_used(new_plugs, new_colonies)
    out = [plugs[plug] for plug, *_ in before if plug]
    if Safekeeping.objects.filter(plug__in=out).exists():
        raise AlreadyDone(f"{trade.contact} keeps something of this trade for you, so it did leave.")
    for plug in new_plugs:
        void_plug(plug=plug, reason=f"Trade {trade.pk} was taken back", today=today, by=by)
    for colony in new_colonies:
        end_colony(colony=colony, reason=EndReason.MISTAKE, on=today, today=today, by=by)
    for plug in out:
        take_back_parting(plug=plug, by=by)
    for _, colony, _ in before:
        if colony:
            bring_back_colony(colony=colonies[colony], by=by)
    for line in trade.lines.filter(cancelled_on=None):
        line.cancelled_on, line._history_user = today, by
        line.save(update_fields=["cancelled_on"])
    _let_holds_go_on(out, trade, today=today, by=by)
    trade.cancelled_on, trade._history_user = today, by
    trade.save(update_fields=["cancelled_on"])
    return trade


def _let_holds_go_on(plugs, trade: Trade, *, today: date, by) -> None:
    ended = Hold.objects.filter(plug__in=plugs, contact=trade.contact, released_on__isnull=False, until__gte=today)
    for hold in ended.filter(note__endswith=f" in trade {trade.pk}").order_by("plug", "-id").select_related("plug"):
        if hold.plug.is_ready(today) and not hold.plug.holds.filter(released_on=None).exists():
            hold.released_on = None
            hold.note = hold.note.rpartition("Traded to ")[0].removesuffix(". ")
            hold._history_user = by
            hold.save(update_fields=["released_on", "note"])
