"""Addresses of the books and the ledger."""

from django.urls import path

from inventory.views import books, ledger

urlpatterns = [
    path("books/", books.books_page, name="books"),
    path("books/<int:pk>/", books.book, name="book"),
    path("books/mothers/<str:tag>/", books.book_of_mother, name="book_of_mother"),
    path("books/ledger/", ledger.ledger, name="ledger"),
    path("books/ledger/<int:year>/", ledger.ledger_of_year, name="ledger_of_year"),
    path("books/ledger/<int:year>.csv", ledger.ledger_csv, name="ledger_csv"),
    path("books/ledger/<int:year>.xlsx", ledger.ledger_xlsx, name="ledger_xlsx"),
]
