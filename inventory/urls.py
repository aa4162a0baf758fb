"""Addresses of the inventory floor."""

from django.urls import include, path

from inventory.views import (
    acquisitions,
    available,
    contacts,
    hold_deposits,
    holds,
    leaving,
    offers,
    prices,
    ready,
    sale_acts,
    sales,
)

urlpatterns = [
    # -- the ready list, holds, prices
    path("ready/", ready.ready, name="ready"),
    path("ready/lines/", ready.ready_lines, name="ready_lines"),
    path("ready/soon/", ready.ready_soon, name="ready_soon"),
    path("ready.csv", ready.ready_csv, name="ready_csv"),
    path("ready/print/", ready.ready_print, name="ready_print"),
    path("ready/chosen/", ready.ready_chosen, name="ready_chosen"),
    path("ready/left/", leaving.plugs_left, name="plugs_left"),
    path("plugs/<str:code>/left/", leaving.plug_left, name="plug_left"),
    path("plugs/<str:code>/left/take-back/", leaving.plug_left_take_back, name="plug_left_take_back"),
    path("plugs/<str:code>/hold/", holds.hold, name="hold"),
    path("holds/", holds.holds, name="holds"),
    path("holds/new/", holds.hold_many, name="hold_many"),
    path("holds/<int:pk>/release/", holds.hold_release, name="hold_release"),
    path("holds/<int:pk>/extend/", holds.hold_extend, name="hold_extend"),
    path("holds/<int:pk>/deposit/", hold_deposits.hold_deposit, name="hold_deposit"),
    path("holds/<int:pk>/deposit/settle/", hold_deposits.hold_deposit_settle, name="hold_deposit_settle"),
    path("prices/", prices.prices, name="prices"),
    path("prices/currency/", prices.book_currency, name="book_currency"),
    path("prices/plugs/", prices.plugs_price, name="plugs_price"),
    path("prices/<int:pk>/sizes/", prices.size_prices, name="size_prices"),
    path("plugs/<str:code>/price/", prices.plug_price, name="plug_price"),
    # -- what is offered: kept here, and what strangers see of it
    path("offers/", offers.offers, name="offers"),
    path("offers/renew/", offers.offers_renew, name="offers_renew"),
    path("offers/packs/new/", offers.pack_new, name="pack_new"),
    path("offers/packs/<int:pk>/end/", offers.pack_end, name="pack_end"),
    path("plugs/<str:code>/offer/", offers.plug_offer, name="plug_offer"),
    path("available/", available.available, name="available"),
    path("available/<str:secret>/", available.available_secret, name="available_secret"),
    # -- sales
    path("sales/", sales.sales, name="sales"),
    path("sales/new/", sales.sale_new, name="sale_new"),
    path("sales/<int:pk>/", sales.sale, name="sale"),
    path("sales/<int:pk>/change/", sales.sale_change, name="sale_change"),
    path("sales/<int:pk>/agree/", sale_acts.sale_agree, name="sale_agree"),
    path("sales/<int:pk>/pay/", sale_acts.sale_pay, name="sale_pay"),
    path("sales/<int:pk>/give-back/", sale_acts.sale_refund, name="sale_refund"),
    path("sales/<int:pk>/hand-over/", sale_acts.sale_hand_over, name="sale_hand_over"),
    path("sales/<int:pk>/undo/", sale_acts.sale_undo, name="sale_undo"),
    path("sales/<int:pk>/undo-all/", sale_acts.sale_undo_now, name="sale_undo_now"),
    path("sales/<int:pk>/close/", sale_acts.sale_close, name="sale_close"),
    path("sales/<int:pk>/reopen/", sale_acts.sale_reopen, name="sale_reopen"),
    path("sales/<int:pk>/call-off/", sale_acts.sale_cancel, name="sale_cancel"),
    path("payments/<int:pk>/withdraw/", sale_acts.payment_withdraw, name="payment_withdraw"),
    # -- trades
    path("", include("inventory.trade_urls")),
    # -- contacts
    path("contacts/", contacts.contacts, name="contacts"),
    path("contacts/new/", contacts.contact_new, name="contact_new"),
    path("contacts/<int:pk>/", contacts.contact, name="contact"),
    path("contacts/<int:pk>/edit/", contacts.contact_edit, name="contact_edit"),
    # -- what comes in
    path("acquire/", acquisitions.acquire, name="acquire"),
    path("acquire/colony/", acquisitions.acquire_colony, name="acquire_colony"),
    path("acquire/plugs/", acquisitions.acquire_plugs, name="acquire_plugs"),
    path("acquire/pack/", acquisitions.acquire_pack, name="acquire_pack"),
    path("acquisitions/<int:pk>/", acquisitions.acquisition, name="acquisition"),
    path("acquisitions/<int:pk>/edit/", acquisitions.acquisition_edit, name="acquisition_edit"),
]
