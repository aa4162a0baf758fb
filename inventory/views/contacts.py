"""Contacts: the list, one of them with all that is between, their particulars, merging and forgetting them."""

from dataclasses import replace

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST, require_safe

from inventory.actions.forget_contact import forget_contact, name_instead
from inventory.actions.give_up_credit import give_up_credit
from inventory.actions.keep_contact import keep_contact
from inventory.actions.merge_contacts import merge_contacts, needless_waiting, particulars_of_both
from inventory.actions.pay_out_credit import pay_out_credit, withdraw_pay_out
from inventory.errors import NearlyTheSameName, StillOpen
from inventory.forms.contacts import ContactFilter, ContactForm, ForgetForm, SamePersonForm
from inventory.forms.holds import contact_suggestions
from inventory.forms.sales import PayOutForm
from inventory.models import Book, Contact, Credit
from inventory.money import write_amount
from inventory.readings import forgetting
from inventory.readings import holds as reading
from inventory.readings.claims import claims_of_contact
from inventory.readings.contacts import between, contacts_with_counts, likely_duplicates, merged_into, owed_by
from inventory.readings.safekeeping import kept_before, kept_by
from inventory.readings.sales import credit_of, credits_of, credits_of_contact, sales_of_contact, totals_of
from inventory.readings.trades import trades_of_contact
from inventory.readings.waiting import places_in_line
from inventory.tables.contacts import ContactTable
from inventory.views.holds import forget_remembered
from propagation.actions.changes import last_change
from propagation.errors import RametError
from propagation.paging import UncountedPaginator
from propagation.readings.changes import changes_of
from propagation.views.answers import REFUSED, carried_out, form_page, sent, tried
from propagation.views.lists import render_list

SHOWN = 10  # of each kind on the page of a contact; the rest has pages of its own
ROWS = 50
MOST_KEPT_SHOWN = 50


def acquisitions_of(contact):
    """What came from a contact, the latest first."""
    return contact.acquisitions.select_related("acquisition__lineage").order_by("-acquisition__acquired_on", "-pk")


# What there may be much of with a contact: heading, and the rows.
KINDS = {
    "sales": ("Sold to them", sales_of_contact),
    "credit": ("Their credit", credits_of_contact),
    "claims": ("Their claims", claims_of_contact),
    "trades": ("Traded with them", trades_of_contact),
    "acquisitions": ("Brought in from them", acquisitions_of),
    "held-before": ("Held before", lambda contact: reading.past_holds(localdate()).filter(contact=contact)),
    "kept-before": ("Kept by them before", kept_before),
}


@require_safe
def contacts(request):
    filterset = ContactFilter(request.GET, queryset=contacts_with_counts(localdate()))
    is_all = not any(request.GET.values())
    return render_list(
        request,
        "inventory/contacts.html",
        filterset=filterset,
        table_class=ContactTable,
        any_at_all=Contact.objects.known().exists(),
        alike=likely_duplicates() if is_all else [],
    )


def _elsewhere(request, contact):
    """For a contact that was merged, the way to the one it went into."""
    if contact.merged_into_id is None:
        return None
    messages.info(request, f"{contact} is the same person as {contact.merged_into}.")
    return redirect("contact", pk=contact.merged_into_id)


def _known_or_elsewhere(request, pk):
    """``(contact, None)``, or where to go for one that was merged or forgotten."""
    found = get_object_or_404(Contact.objects.select_related("merged_into"), pk=pk)
    if found.forgotten_on:
        messages.info(request, f"{found} was forgotten; there is nothing to change.")
        return found, redirect("contact", pk=pk)
    return found, _elsewhere(request, found)


@require_safe
def contact(request, pk):
    found = get_object_or_404(Contact.objects.select_related("merged_into"), pk=pk)
    if away := _elsewhere(request, found):
        return away
    today = localdate()
    sales = list(sales_of_contact(found)[:SHOWN])
    sums = totals_of(sales)
    return render(
        request,
        "inventory/contact.html",
        {
            "contact": found,
            "today": today,
            "counts": between(found, today),
            "sales": [(sale, sums[sale.pk]) for sale in sales],
            "owed": [write_amount(amount, currency) for currency, amount in owed_by(found).items()],
            "credits": [
                (currency, write_amount(amount, currency)) for currency, amount in credits_of(found).items() if amount
            ],
            "credit_lines": credits_of_contact(found)[:SHOWN],
            "claims": claims_of_contact(found)[:SHOWN],
            "kept": kept_by(found)[:MOST_KEPT_SHOWN],
            "kept_before": kept_before(found)[:SHOWN],
            "trades": trades_of_contact(found)[:SHOWN],
            "holds": reading.current_holds(today).filter(contact=found)[:ROWS],
            "places": places_in_line(today, contact=found)[:ROWS],
            "deposits": reading.deposits_left_over(today).filter(contact=found)[:ROWS],
            "broken": reading.broken_holds(today).filter(contact=found)[:ROWS],
            "past": reading.past_holds(today).filter(contact=found)[:SHOWN],
            "acquisitions": acquisitions_of(found)[:SHOWN],
            "merged": merged_into(found),
            "changes": changes_of(found, "name", "reach", "note"),
        },
    )


@require_safe
def contact_all(request, pk, kind):
    """All there is of one kind with a contact, by pages."""
    if kind not in KINDS:
        raise Http404("There is no such list.")
    found = get_object_or_404(Contact.objects.select_related("merged_into"), pk=pk)
    if away := _elsewhere(request, found):
        return away
    heading, rows = KINDS[kind]
    page = UncountedPaginator(rows(found), ROWS).get_page(request.GET.get("page"))
    shown = list(page.object_list)
    sums = totals_of(shown) if kind == "sales" else {}
    return render(
        request,
        "inventory/contact_all.html",
        {
            "contact": found,
            "kind": kind,
            "heading": heading,
            "page": page,
            "rows": [(sale, sums[sale.pk]) for sale in shown] if kind == "sales" else shown,
        },
    )


@require_POST
def contact_credit_end(request, pk):
    """They give up their credit."""
    found = get_object_or_404(Contact, pk=pk)
    currency = request.POST.get("currency", "").replace("\0", "")
    tried(
        request,
        lambda: give_up_credit(contact=found, currency=currency, today=localdate(), by=request.user),
        lambda given_up: f"{write_amount(-given_up.amount, currency)} of credit is given up.",
    )
    return redirect("contact", pk=pk)


def contact_credit_pay_out(request, pk):
    """Credit is paid out in money, all of it or a part."""
    found, away = _known_or_elsewhere(request, pk)
    if away:
        return away
    currency = request.GET.get("currency", "").replace("\0", "")
    has, back = credit_of(found, currency), reverse("contact", args=[pk])
    if not has and request.method != "POST":
        messages.info(request, f"{found} has no credit{f' in {currency}' if currency else ''} to pay out.")
        return redirect(back)
    initial = {"amount": has, "day": localdate()}
    form = PayOutForm(sent(request), book=Book(currency=currency), initial=initial)

    def pay_out(told):
        paid = pay_out_credit(
            contact=found,
            amount=told["amount"],
            currency=currency,
            method=told["method"],
            on=told["day"],
            note=told["note"],
            submission=told["submission"],
            today=localdate(),
            by=request.user,
        )
        messages.success(request, f"{write_amount(-paid.amount, currency)} of credit is paid out to {found}.")
        return redirect(back)

    if answer := carried_out(request, form, pay_out):
        return answer
    context = {
        "heading": f"Pay out to {found}",
        "lead": f"{write_amount(has, currency)} of credit is what you owe them in goods. What is paid out is owed "
        "no more; a part of it will do.",
        "back_url": back,
        "back_label": found.name,
        "submit_label": "Pay out",
        "icon_name": "money",
    }
    return form_page(request, "propagation/form.html", form, context)


@require_POST
def credit_withdraw(request, pk):
    """It was not paid out after all."""
    credit = get_object_or_404(Credit, pk=pk)
    amount = write_amount(-credit.amount, credit.currency)
    tried(
        request,
        lambda: withdraw_pay_out(credit=credit, by=request.user),
        f"{amount} counts as paid out no more; it is their credit again.",
    )
    return redirect("contact", pk=credit.contact_id)


def contact_same(request, pk):
    """Say that this contact is the same person as another; what will be is shown before it is done."""
    found, away = _known_or_elsewhere(request, pk)
    if away:
        return away
    asked = request.GET if "name" in request.GET else None
    form = SamePersonForm(request.POST if request.method == "POST" else asked, contact=found)
    if not form.is_valid():
        context = {"contact": found, "suggestions": contact_suggestions()}
        return form_page(request, "inventory/contact_same.html", form, context)
    into, today = form.other, localdate()
    if request.method == "POST":
        is_merged = tried(
            request,
            lambda: merge_contacts(contact=found, into=into, today=today, by=request.user),
            f"{found} and {into} are one contact now. Whoever types “{found}” finds {into}.",
        )
        return redirect("contact", pk=into.pk if is_merged else pk)
    return render(
        request,
        "inventory/contact_same_preview.html",
        {
            "contact": found,
            "into": into,
            "moves": between(found, today).in_words(),
            "ended": needless_waiting(found, into, today),
            "after": particulars_of_both(found, into),
        },
    )


def contact_forget(request, pk):
    """Forget a person at their wish; what goes, what stays and what is in the way is shown before it is done."""
    found, away = _known_or_elsewhere(request, pk)
    if away:
        return away
    form = ForgetForm(sent(request))
    error, today = None, localdate()
    if request.method == "POST" and form.is_valid():
        try:
            forgotten = forget_contact(
                contact=found,
                today=today,
                end_waiting=form.cleaned_data["end_waiting"],
                also_in_notes=not form.cleaned_data["leave_notes"],
                by=request.user,
            )
        except RametError as refused:
            error = refused
        else:
            forget_remembered(request)
            messages.success(request, f"They are forgotten. The books call them {forgotten}.")
            return redirect("contact", pk=pk)
    instead = name_instead(found)
    traces = forgetting.traces_of(found, instead=instead)
    named = forgetting.mentions(found, traces)
    return render(
        request,
        "inventory/contact_forget.html",
        {
            "contact": found,
            "form": form,
            "error": None if isinstance(error, StillOpen) else error,
            "things": forgetting.still_open(found, today),
            "waiting": forgetting.waiting_of(found),
            "must_say_so": isinstance(error, StillOpen),
            "instead": instead,
            "traces": traces,
            "notes": forgetting.own_notes(found),
            "papers": len(traces.sales) + len(traces.trades),
            "pictures": forgetting.pictures_of(found).count(),
            "named": named[: forgetting.MOST_SHOWN],
            "named_more": max(len(named) - forgetting.MOST_SHOWN, 0),
            "named_after": forgetting.named_after(traces),
            "stays": replace(between(found, today), held=0, waiting=0).in_words(),
        },
        status=REFUSED if error else 200,
    )


def contact_new(request):
    return _form_page(request, Contact(name=request.GET.get("name", "")), heading="New contact")


def contact_edit(request, pk):
    found, away = _known_or_elsewhere(request, pk)
    return away or _form_page(request, found, heading=f"Change {found.name}")


def _with_links(error):
    """The sentence, and a link to each contact that may be the same."""
    links = format_html_join(
        ", ", '<a href="{}">Open {}</a>', ((reverse("contact", args=[other.pk]), other) for other in error.others)
    )
    return format_html("{} {}", str(error), links)


def _form_page(request, record, *, heading):
    back = reverse("contact", args=[record.pk]) if record.pk else reverse("contacts")
    label = record.name if record.pk else "Contacts"
    form = ContactForm(
        sent(request),
        instance=record,
        initial={"based_on": last_change(record) if record.pk else None},
    )

    def keep(told):
        try:
            kept = keep_contact(
                contact=form.instance, based_on=told["based_on"], confirmed=told["somebody_new"], by=request.user
            )
        except NearlyTheSameName as error:
            form.ask_about(error)
            form.add_error("name", _with_links(error))
            return None
        messages.success(request, f"{kept.name} is saved.")
        return redirect("contact", pk=kept.pk)

    if answer := carried_out(request, form, keep, other_url=lambda other: reverse("contact", args=[other.pk])):
        return answer
    context = {
        "heading": heading,
        "lead": "Only you see this. Write down no more than you need to find each other again.",
        "back_url": back,
        "back_label": label,
        "draft": "contact",
    }
    return form_page(request, "propagation/form.html", form, context)
