"""Addresses of trades."""

from django.urls import path

from inventory.views import trades

urlpatterns = [
    path("trades/", trades.trades, name="trades"),
    path("trades/new/", trades.trade_new, name="trade_new"),
    path("trades/<int:pk>/", trades.trade, name="trade"),
    path("trades/<int:pk>/take-back/", trades.trade_cancel, name="trade_cancel"),
]
