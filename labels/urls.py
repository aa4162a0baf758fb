"""Addresses of the labels floor: what is printed and what a scan opens."""

from django.urls import path

from labels.views import papers, passports, printing, scale_cards, scan, stocks

urlpatterns = [
    # -- printing labels and stocks
    path("labels/", printing.labels, name="labels"),
    path("labels/print/", printing.labels_print, name="labels_print"),
    path("labels/runs/", printing.print_runs, name="print_runs"),
    path("labels/runs/<int:pk>/", printing.print_run, name="print_run"),
    path("labels/runs/<int:pk>/labels.pdf", printing.print_run_pdf, name="print_run_pdf"),
    path("labels/stocks/", stocks.stocks, name="stocks"),
    path("labels/stocks/new/", stocks.stock_new, name="stock_new"),
    path("labels/stocks/<int:pk>/", stocks.stock_edit, name="stock_edit"),
    path("labels/stocks/<int:pk>/outline.pdf", stocks.stock_outline, name="stock_outline"),
    # -- scale cards
    path("labels/scale-cards/", scale_cards.scale_cards, name="scale_cards"),
    path("SCALE/<str:size>", scale_cards.scale_card_scanned, name="scale_card_scanned"),
    path("SCALE/<str:size>/<str:code>", scale_cards.scale_card_scanned, name="scale_card_of_colony"),
    # -- passports
    path("passports/", passports.passports, name="passports"),
    path("passports/read/", passports.passport_read, name="passport_read"),
    path("passports/bring-in/", passports.passport_import, name="passport_import"),
    path("passports/of/<str:code>/", passports.passport_of, name="passport_of"),
    path("passports/<int:pk>/", passports.passport, name="passport"),
    path("passports/<int:pk>/passport.jsonld", passports.passport_file, name="passport_file"),
    path("passports/keys/<int:pk>/", passports.key_name, name="key_name"),
    # -- papers, and the page on which the other side reads its own
    path("sales/<int:pk>/papers/<str:kind>.pdf", papers.sale_paper, name="sale_paper"),
    path("sales/<int:pk>/papers/link/", papers.sale_paper_link, name="sale_paper_link"),
    path("trades/<int:pk>/papers/<str:kind>.pdf", papers.trade_paper, name="trade_paper"),
    path("trades/<int:pk>/papers/link/", papers.trade_paper_link, name="trade_paper_link"),
    path("papers/size/", papers.paper_size, name="paper_size"),
    path("papers/of/<str:code>/<str:kind>.pdf", papers.paper_of, name="paper_of"),
    path("p/<str:secret>/", papers.own_papers, name="own_papers"),
    path("p/<str:secret>/<str:kind>.pdf", papers.own_paper, name="own_paper"),
    path("p/<str:secret>/<str:code>/<str:kind>.pdf", papers.own_paper_of, name="own_paper_of"),
    # -- what a scan opens
    path("Q/<str:code>", scan.scan, name="scan"),
    path("q/<str:code>", scan.scan),
    path("Q/<str:code>/", scan.scan),
    path("q/<str:code>/", scan.scan),
]
