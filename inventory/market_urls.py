"""Addresses of the market table."""

from django.urls import path

from inventory.views import market

urlpatterns = [
    path("market/", market.market, name="market"),
    path("market/picture/", market.market_picture, name="market_picture"),
    path("market/put/", market.market_put, name="market_put"),
    path("market/change/", market.market_change, name="market_change"),
    path("market/sell/", market.market_sell, name="market_sell"),
    path("market/<int:pk>/undo/", market.market_undo, name="market_undo"),
    path("market/brought/", market.market_brought, name="market_brought"),
]
