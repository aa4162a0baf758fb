"""How a page that does something answers: what was done, or why not, in the same words and with the same status."""

from django.contrib import messages
from django.shortcuts import render

from propagation.errors import RametError
from propagation.forms.fields import refuse

REFUSED = 422  # Unprocessable Content, RFC 9110 section 15.5.21


def sent(request):
    """What a form was sent with, ``None`` while it is only opened. An empty form that was sent is not one to open."""
    return request.POST if request.method == "POST" else None


def carried_out(request, form, act, *, refuse=refuse, **names):
    """What ``act(told)`` answers, a redirect as a rule, if the form was sent in order and the act is not refused.

    ``told`` is the form's ``cleaned_data``. Otherwise ``None``, and the form says what is wrong; ``names`` are those of
    ``refuse``, instead of which a page may bring its own. An act that says something does so after it is done.
    """
    if request.method != "POST" or not form.is_valid():
        return None
    try:
        return act(form.cleaned_data)
    except RametError as error:
        refuse(form, error, **names)
        return None


def form_page(request, template, form, context, *, refused=False):
    """The page of a form; one that was refused says so by its status too.

    ``refused`` is for what the form's errors do not tell: a question that is asked back, a second form on the page.
    """
    return render(request, template, {"form": form, **context}, status=REFUSED if refused or form.errors else 200)


def tried(request, act, said) -> bool:
    """Do what a button asks for and say so, or say why not. Returns whether it was done.

    ``said`` is a sentence, or makes one of what ``act()`` answered.
    """
    try:
        done = act()
    except RametError as error:
        messages.error(request, str(error))
        return False
    messages.success(request, said(done) if callable(said) else said)
    return True
