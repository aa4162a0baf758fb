"""Contacts: the list, one of them, and their particulars."""

from collections import defaultdict
from decimal import Decimal

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe

from inventory.actions.keep_contact import keep_contact
from inventory.errors import NearlyTheSameName
from inventory.forms.contacts import ContactFilter, ContactForm
from inventory.models import Book, Contact
from inventory.money import write_amount
from inventory.readings import holds as reading
from inventory.readings.contacts import contacts_with_counts
from inventory.readings.safekeeping import kept_by
from inventory.readings.sales import credits_of, sales_of_contact, totals_of
from inventory.readings.trades import trades_of_contact
from inventory.tables.contacts import ContactTable
from propagation.actions.changes import last_change
from propagation.errors import RametError
from propagation.forms.fields import refuse
from propagation.readings.changes import changes_of
from propagation.views.lists import render_list

PAST_SHOWN = 25
SALES_SHOWN = 100
TRADES_SHOWN = 50
ACQUISITIONS_SHOWN = 100


@require_safe
def contacts(request):
    return render_list(
        request,
        "inventory/contacts.html",
        filterset=ContactFilter(request.GET, queryset=contacts_with_counts(localdate())),
        table_class=ContactTable,
        any_at_all=Contact.objects.exists(),
    )


@require_safe
def contact(request, pk):
    found = get_object_or_404(Contact, pk=pk)
    today = localdate()
    sales = list(sales_of_contact(found)[:SALES_SHOWN])
    sums = totals_of(sales)
    owed = defaultdict(Decimal)
    for sale in sales:
        if sale.is_owed and sums[sale.pk].owed:
            owed[sale.currency] += sums[sale.pk].owed
    return render(
        request,
        "inventory/contact.html",
        {
            "sales": [(sale, sums[sale.pk]) for sale in sales],
            "owed": [write_amount(amount, currency) for currency, amount in owed.items()],
            "credits": [write_amount(amount, currency) for currency, amount in credits_of(found).items() if amount],
            "kept": kept_by(found),
            "trades": trades_of_contact(found)[:TRADES_SHOWN],
            "contact": found,
            "today": today,
            "book": Book.current(),
            "holds": reading.current_holds(today).filter(contact=found),
            "deposits": reading.deposits_left_over(today).filter(contact=found),
            "broken": reading.broken_holds(today).filter(contact=found),
            "past": reading.past_holds(today).filter(contact=found)[:PAST_SHOWN],
            "acquisitions": found.acquisitions.select_related("acquisition__lineage").order_by(
                "-acquisition__acquired_on", "-pk"
            )[:ACQUISITIONS_SHOWN],
            "changes": changes_of(found, "name", "reach", "note"),
        },
    )


def contact_new(request):
    return _form_page(request, Contact(name=request.GET.get("name", "")), heading="New contact")


def contact_edit(request, pk):
    found = get_object_or_404(Contact, pk=pk)
    return _form_page(request, found, heading=f"Change {found.name}")


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
        request.POST or None,
        instance=record,
        initial={"based_on": last_change(record) if record.pk else None},
    )
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            kept = keep_contact(
                contact=form.instance, based_on=told["based_on"], confirmed=told["somebody_new"], by=request.user
            )
        except NearlyTheSameName as error:
            form.ask_if_new()
            form.add_error("name", _with_links(error))
        except RametError as error:
            refuse(form, error, other_url=lambda other: reverse("contact", args=[other.pk]))
        else:
            messages.success(request, f"{kept.name} is saved.")
            return redirect("contact", pk=kept.pk)
    return render(
        request,
        "propagation/form.html",
        {
            "form": form,
            "heading": heading,
            "lead": "Only you see this. Write down no more than you need to find each other again.",
            "back_url": back,
            "back_label": label,
            "draft": "contact",
        },
        status=422 if form.errors else 200,
    )
