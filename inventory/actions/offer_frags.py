"""Who sees the page of offers and what stands at its top, how single plugs are offered, and packs."""

from datetime import date
from decimal import Decimal

from django.db import transaction

from inventory.models import Availability, Book, OfferPack, PlugOffer
from inventory.models.sale import paper_secret
from inventory.money import check_price
from propagation.errors import AlreadyDone, BadValue, PlugGone
from propagation.models import Plug

MOST_WISHES = 50
LONGEST_WISH = 200


def _check_length(model, name: str, text: str, what: str) -> str:
    text = text.strip()
    most = model._meta.get_field(name).max_length
    if len(text) > most:
        raise BadValue(f"{what} has {len(text)} characters; {most} fit.", field=name)
    return text


@transaction.atomic
def set_availability(*, visibility: str, headline: str = "", wishes: str = "", reach: str = "") -> Availability:
    """Say who sees the page of offers, and what stands on it beside the offers. Raises BadValue."""
    if visibility not in Availability.Visibility.values:
        raise BadValue("Choose who sees the page: nobody, whoever has the link, or everybody.", field="visibility")
    wanted = [" ".join(line.split()) for line in wishes.splitlines() if line.strip()]
    if len(wanted) > MOST_WISHES:
        raise BadValue(f"{len(wanted)} wishes are too many; {MOST_WISHES} fit.", field="wishes")
    if too_long := next((wish for wish in wanted if len(wish) > LONGEST_WISH), None):
        raise BadValue(
            f"The wish “{too_long[:30]}…” has {len(too_long)} characters; {LONGEST_WISH} fit.", field="wishes"
        )
    told = {
        "visibility": visibility,
        "headline": _check_length(Availability, "headline", headline, "What stands at the top"),
        "wishes": "\n".join(wanted),
        "reach": _check_length(Availability, "reach", reach, "How to reach you"),
    }
    availability, _ = Availability.objects.update_or_create(pk=1, defaults=told)
    return availability


@transaction.atomic
def renew_availability_secret() -> Availability:
    """Give the secret page another address; the one before leads nowhere from now on."""
    availability, _ = Availability.objects.update_or_create(pk=1, defaults={"secret": paper_secret()})
    return availability


@transaction.atomic
def offer_plug(*, plug: Plug, as_itself: bool = False, withheld: bool = False, words: str = "", by=None) -> None:
    """Say how one plug is offered: as one of several alike, as itself with words of its own, or not at all.

    Raises BadValue, and PlugGone for a plug that left or died.
    """
    words = _check_length(PlugOffer, "words", words, "What is said of it")
    if as_itself and withheld:
        raise BadValue("A plug is offered as itself or not at all; choose one.", field="how")
    plug = Plug.objects.select_for_update().get(pk=plug.pk)
    if not plug.is_kept:
        raise PlugGone(plug, "offered")
    stored = PlugOffer.objects.filter(plug=plug).first()
    told = {"as_itself": as_itself, "withheld": withheld, "words": words}
    if stored is None and not any(told.values()):
        return
    offer = stored or PlugOffer(plug=plug)
    if stored and all(getattr(stored, name) == value for name, value in told.items()):
        return
    for name, value in told.items():
        setattr(offer, name, value)
    offer._history_user = by
    offer.save()


@transaction.atomic
def make_pack(*, name: str, amount: Decimal, plugs, words: str = "", by=None) -> OfferPack:
    """Offer several plugs together for one price.

    Raises BadAmount, PlugGone, and BadValue for fewer than two plugs, a name that another pack has, or a plug that is
    in another pack already.
    """
    name = _check_length(OfferPack, "name", name, "The name")
    words = _check_length(OfferPack, "words", words, "What is said of it")
    if not name:
        raise BadValue("Give the pack a name.", field="name")
    if amount is None:
        raise BadValue("Say what the pack costs.", field="amount")
    check_price(amount, Book.current())
    locked = list(Plug.objects.select_for_update().filter(pk__in={plug.pk for plug in plugs}).order_by("pk"))
    if len(locked) < 2:
        raise BadValue("A pack needs at least two plugs.", field="plugs")
    for plug in locked:
        if not plug.is_kept:
            raise PlugGone(plug, "offered")
    packed = OfferPack.objects.filter(ended_on=None, plugs__in=locked).values_list("name", "plugs__code")
    codes = {plug.code: plug for plug in locked}
    for other, code in packed:
        if code in codes:
            raise BadValue(f"{codes[code]} is in the pack “{other}” already; end that one first.", field="plugs")
    same = OfferPack.objects.filter(ended_on=None, name__iexact=name).first()
    if same:
        raise BadValue(f"There is a pack called “{same}” already; choose another name.", field="name")
    pack = OfferPack(name=name, amount=amount, words=words)
    pack._history_user = by
    pack.save()
    pack.plugs.set(locked)
    return pack


@transaction.atomic
def end_pack(*, pack: OfferPack, today: date, by=None) -> OfferPack:
    """Offer a pack no more; its plugs are offered by themselves again. Raises AlreadyDone."""
    pack = OfferPack.objects.select_for_update().get(pk=pack.pk)
    if pack.ended_on is not None:
        raise AlreadyDone(f"The pack “{pack}” was ended already.")
    pack.ended_on = today
    pack._history_user = by
    pack.save(update_fields=["ended_on"])
    return pack
