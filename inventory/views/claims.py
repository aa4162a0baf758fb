"""Claims: the list, one of them, reporting one, its pictures, and settling it."""

from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST, require_safe

from inventory.actions.claim import MOST_BYTES, add_picture, can_be_settled, report_claim, settle_claim
from inventory.forms.claims import ClaimForm, SettleForm
from inventory.models import Book, Claim, ClaimPicture, Payment, SaleLine
from inventory.money import write_amount
from inventory.readings.claims import claims_with_what, losses_of_lineages, thumbnail_of
from inventory.readings.sales import totals
from inventory.views.safekeeping import coral_form_page
from propagation.errors import PictureUnreadable
from propagation.forms.photos import TAKEN
from propagation.paging import UncountedPaginator
from propagation.views.answers import carried_out, sent, tried

ROWS = 50


@require_safe
def claims(request):
    is_past = request.GET.get("which") == "settled"
    rows = claims_with_what().filter(settled_on__isnull=not is_past)
    page = UncountedPaginator(rows, ROWS).get_page(request.GET.get("page"))
    here = reverse("claims")
    return render(
        request,
        "inventory/claims.html",
        {
            "page": page,
            "is_past": is_past,
            "any_at_all": bool(page.object_list) or Claim.objects.exists(),
            "losses": losses_of_lineages(),
            "tabs": [
                {"url": here, "words": "To settle", "current": not is_past},
                {"url": f"{here}?which=settled", "words": "Settled", "current": is_past},
            ],
        },
    )


def _found(pk) -> Claim:
    return get_object_or_404(claims_with_what().select_related("replaced_by__plug", "refund", "credit"), pk=pk)


@require_safe
def claim(request, pk):
    found = _found(pk)
    return render(
        request,
        "inventory/claim.html",
        {
            "claim": found,
            "pictures": found.pictures.all(),
            "can_be_settled": can_be_settled(found),
            "taken": TAKEN,
        },
    )


def claim_new(request, line_pk):
    """Report a sold coral; one that was reported already is shown."""
    line = get_object_or_404(SaleLine.objects.select_related("plug", "colony", "sale__contact"), pk=line_pk)
    earlier = Claim.objects.filter(line=line).first()
    if earlier and request.method != "POST":
        return redirect("claim", pk=earlier.pk)
    form = ClaimForm(sent(request), initial={"day": localdate()})

    def report(told):
        made = report_claim(
            line=line,
            kind=told["kind"],
            on=told["day"],
            words=told["words"],
            confirmed=told["confirmed"],
            today=localdate(),
            by=request.user,
        )
        messages.success(request, "The claim is recorded. Add the pictures they sent.")
        return redirect("claim", pk=made.pk)

    if answer := carried_out(request, form, report):
        return answer
    what = line.plug.code_in_clear if line.plug_id else line.colony.tag
    return coral_form_page(
        request,
        form,
        heading=f"Claim for {what}",
        lead=f"Sold to {line.sale.contact} in sale {line.sale_id}.",
        words="Record the claim",
        back=reverse("sale", args=[line.sale_id]),
        back_label=f"Sale {line.sale_id}",
    )


def claim_settle(request, pk):
    found = _found(pk)
    here = reverse("claim", args=[pk])
    if not can_be_settled(found) and request.method != "POST":
        messages.info(request, f"It is settled: {found.get_outcome_display().lower()}.")
        return redirect(here)
    sale = found.line.sale
    form = SettleForm(
        sent(request),
        book=Book(currency=sale.currency),
        initial={"day": localdate(), "amount": found.line.amount, "note": found.note},
    )

    def settle(told):
        made = settle_claim(
            claim=found,
            outcome=told["outcome"],
            plug=told["plug"],
            amount=told["amount"],
            method=told["method"] or Payment.Method.CASH,
            on=told["day"],
            note=told["note"],
            confirmed=told["confirmed"],
            today=localdate(),
            by=request.user,
        )
        messages.success(request, f"The claim is settled: {made.get_outcome_display().lower()}.")
        return redirect(here)

    is_replaced = form.data.get("outcome") == Claim.Outcome.REPLACED
    if answer := carried_out(request, form, settle, otherwise="plug" if is_replaced else "outcome"):
        return answer
    lead = f"{found.get_kind_display()}, reported by {sale.contact}."
    if from_credit := totals(sale).to_credit:
        lead += f" {write_amount(from_credit, sale.currency)} of sale {sale.pk} was paid from their credit."
    return coral_form_page(
        request,
        form,
        heading="Settle the claim",
        lead=lead,
        words="Settle it",
        back=here,
        back_label="The claim",
    )


@require_POST
def claim_add_picture(request, pk):
    found = get_object_or_404(Claim, pk=pk)
    picture = request.FILES.get("picture")

    def add():
        if picture is None:
            raise PictureUnreadable("Choose a picture first.")
        # One byte more than is taken tells that it is too large.
        return add_picture(claim=found, data=picture.read(MOST_BYTES + 1))

    tried(request, add, "The picture is kept, without where and when it was taken.")
    return redirect("claim", pk=pk)


@require_safe
def claim_picture(request, pk):
    """A picture of a claim, for those who are signed in."""
    kept = get_object_or_404(ClaimPicture, pk=pk)
    try:
        answer = FileResponse(kept.file.open("rb"), content_type="image/jpeg")
    except FileNotFoundError as error:
        raise Http404("The file of this picture is gone.") from error
    answer["Cache-Control"] = "private, max-age=3600"
    return answer


@require_safe
def claim_thumbnail(request, pk):
    """The same, small enough for a list."""
    kept = get_object_or_404(ClaimPicture, pk=pk)
    try:
        answer = HttpResponse(thumbnail_of(kept), content_type="image/jpeg")
    except OSError as error:  # gone, or no picture any more
        raise Http404("The file of this picture is gone.") from error
    answer["Cache-Control"] = "private, max-age=86400"
    return answer
