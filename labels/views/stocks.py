"""Label stocks: those that came with Ramet, and the keeper's own."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from labels.actions.print_labels import geometry_of
from labels.drawing.errors import LabelDrawingError
from labels.drawing.sheet import draw_test_outline
from labels.forms.printing import StockForm
from labels.models import LabelStock
from propagation.views.answers import carried_out, form_page, sent


@require_safe
def stocks(request):
    """Every stock, sheets and rolls."""
    return render(request, "labels/stocks.html", {"stocks": LabelStock.objects.order_by("-kind", "pk")})


def stock_new(request):
    """Define a stock by its measures, or begin from another's."""
    like = request.GET.get("like", "")
    like = LabelStock.objects.filter(pk=like).first() if like.isascii() and like.isdigit() else None
    initial = {name: getattr(like, name) for name in StockForm.Meta.fields if name != "name"} if like else None
    return _edit(request, StockForm(sent(request), initial=initial), "A new stock")


def stock_edit(request, pk):
    """Correct the measures of one's own stock."""
    stock = get_object_or_404(LabelStock, pk=pk)
    if stock.is_shipped:
        messages.info(request, f"“{stock}” came with Ramet. Give a copy of it your own measures.")
        return redirect(f"{reverse('stock_new')}?like={stock.pk}")
    return _edit(request, StockForm(sent(request), instance=stock), stock.name)


def _edit(request, form, heading):
    def keep(told):
        stock = form.save()
        messages.success(request, f"“{stock}” is kept. Print its test outline and hold it against the sheet.")
        return redirect("stocks")

    if answer := carried_out(request, form, keep):
        return answer
    return form_page(request, "labels/stock_form.html", form, {"heading": heading})


@require_safe
def stock_outline(request, pk):
    """A page with the edge of every label, to hold against the sheet."""
    stock = get_object_or_404(LabelStock, pk=pk)
    try:
        pdf = draw_test_outline(geometry_of(stock))
    except LabelDrawingError as error:
        messages.error(request, str(error))
        return redirect("stocks")
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="outline-{stock.pk}.pdf"'
    return response
