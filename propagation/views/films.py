"""Growth in pictures: the strip, the films, and two colonies side by side."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import now
from django.views.decorators.http import require_POST, require_safe

from propagation.actions.make_film import ask_for_film
from propagation.errors import PictureUnreadable, RametError
from propagation.models import GrowthFilm, Preferences
from propagation.ranged import ranged_response
from propagation.readings import growth_films as reading
from propagation.readings.find import find_colony
from propagation.views.found import colony_or_404

A_DAY = 60 * 60 * 24


def _film(pk) -> GrowthFilm:
    return get_object_or_404(GrowthFilm.objects.select_related("colony__lineage", "beside__lineage"), pk=pk)


@require_POST
def colony_film(request, tag):
    """Have the film made; with ``beside`` the one that shows another colony next to it."""
    found, other = colony_or_404(tag), request.POST.get("beside", "").strip()
    try:
        film = ask_for_film(colony=found, beside=find_colony(other) if other else None, now=now())
    except RametError as error:
        messages.error(request, str(error))
        return redirect(f"{reverse('colony', args=[found.tag])}#growth-in-pictures")
    if film.trouble:
        messages.error(request, film.trouble)
    elif film.made_at is None:
        messages.info(request, "The film is being made.")
    else:
        messages.info(request, "The film of these pictures is there, and its files are whole.")
    if other:
        return redirect("film", pk=film.pk)
    return redirect(f"{reverse('colony', args=[found.tag])}#growth-in-pictures")


@require_safe
def film(request, pk):
    """One film with its dates and sizes as a table."""
    found = _film(pk)
    length_unit = Preferences.current().length_unit
    shown = [(each, reading.measured_pictures(each)) for each in (found.colony, found.beside) if each is not None]
    digest = reading.digest_of(*shown, length_unit=length_unit)
    return render(
        request,
        "propagation/film.html",
        {
            "film": found,
            "is_current": found.digest == digest,
            "is_left_behind": reading.is_left_behind(found, now()),
            "headings": reading.GrowthInPictures.headings,
            "tables": [(colony, reading.rows_of(pictures, length_unit)) for colony, pictures in shown],
        },
    )


@require_safe
def growth_cell(request, tag, pk):
    """A picture of the strip, at the scale of all of them."""
    try:
        cell = reading.growth_cell(colony_or_404(tag), pk, length_unit=Preferences.current().length_unit)
    except PictureUnreadable as error:
        raise Http404(str(error)) from error
    if cell is None:
        raise Http404("There is no such picture in the strip.")
    return _private(HttpResponse(cell, content_type="image/jpeg"))


def _private(answer):
    """Kept by the keeper's own browser: the address of what has changed is another one."""
    answer["Cache-Control"] = f"private, max-age={A_DAY}"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


def _sent(request, film, name, content_type, download=""):
    if film.made_at is None:
        raise Http404("The film is not made yet.")
    storage = film.mp4.storage
    try:
        file, length = storage.open(name), storage.size(name)
    except OSError as error:
        raise Http404("The file of this film is gone; make it again.") from error
    etag = f"{film.digest[:16]}-{film.made_at:%Y%m%d%H%M%S}-{length}"
    answer = _private(ranged_response(request, file, length=length, content_type=content_type, etag=etag))
    if download and "download" in request.GET:
        answer["Content-Disposition"] = f'attachment; filename="{download}"'
    return answer


def _plain_name(film) -> str:
    """Of letters, digits and strokes, as every system takes it."""
    tags = [film.colony.tag] + ([film.beside.tag] if film.beside else [])
    return "-".join("".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in tag) for tag in tags)


@require_safe
def film_mp4(request, pk):
    found = _film(pk)
    return _sent(request, found, found.mp4.name, "video/mp4", f"growth-{_plain_name(found)}.mp4")


@require_safe
def film_webp(request, pk):
    found = _film(pk)
    return _sent(request, found, found.webp.name, "image/webp", f"growth-{_plain_name(found)}.webp")


@require_safe
def film_poster(request, pk):
    found = _film(pk)
    return _sent(request, found, reading.beside(found, reading.POSTER), "image/jpeg")


@require_safe
def film_strip(request, pk):
    found = _film(pk)
    return _sent(
        request, found, reading.beside(found, reading.STRIP), "image/jpeg", f"growth-{_plain_name(found)}-strip.jpg"
    )
