"""Photos: what waits, adding them, a round, one of them, and their files."""

from uuid import uuid4

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import FileResponse, Http404, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate, now
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from propagation.actions.accept_measurement import MM2_IN_A_CM2
from propagation.actions.keep_photo import begin_photo_round, keep_photo
from propagation.actions.look_again import look_again_at_left_behind
from propagation.actions.sort_photo import date_photo, hide_photo, show_photo, sort_photo
from propagation.errors import DiskFull, RametError
from propagation.forms.photos import TAKEN, DateForm, PhotosForm, SortForm
from propagation.models import Photo, PhotoRound
from propagation.open_pages import is_any_page_open
from propagation.paging import UncountedPaginator
from propagation.readings import photos as reading
from propagation.readings.changes import changes_of
from propagation.views.answers import REFUSED, carried_out, form_page, sent, tried

ROUNDS = 20
TILES = 48
CONTENT_TYPES = {".jpg": "image/jpeg", ".png": "image/png", ".webp": "image/webp", ".heic": "image/heic"}

# Lists of photos that wait for something: the name in the address, its words, and which they are.
LISTS = {
    "unsorted": ("Unsorted", Photo.objects.unsorted),
    "trouble": ("In trouble", reading.photos_in_trouble),
    "review": ("To review", Photo.objects.to_review),
    "aside": ("Set aside", lambda: Photo.objects.exclude(set_aside_on=None)),
}


@require_safe
def photos(request):
    """What waits, and the rounds; with ``which`` the photos that wait for one thing."""
    which = request.GET.get("which")
    if which in LISTS:
        return _photo_list(request, which)
    look_again_at_left_behind(now=now())
    page = UncountedPaginator(reading.rounds().filter(n_photos__gt=0), ROUNDS).get_page(request.GET.get("page"))
    today = localdate()
    shown = reading.photographed(today).exclude(photographed_on=None)
    colonies = UncountedPaginator(shown, TILES).get_page(request.GET.get("colonies"))
    return render(
        request,
        "propagation/photos.html",
        {
            "colonies": colonies,
            "with_last_photo": reading.with_last_photo(colonies.object_list),
            "n_due": len(reading.colonies_to_photograph(today)),
            "never": reading.never_photographed(),
            "today": today,
            "counts": reading.photo_counts(),
            "page": page,
            "any_at_all": bool(page.object_list) or Photo.objects.exists(),
        },
    )


def _photo_list(request, which):
    words, found = LISTS[which]
    rows = reading.with_what_they_show(found()).order_by("-pk")
    return render(
        request,
        "propagation/photo_list.html",
        {
            "which": which,
            "words": words,
            "page": UncountedPaginator(rows, TILES).get_page(request.GET.get("page")),
            "tabs": [
                {"url": f"{reverse('photos')}?which={name}", "words": each, "current": name == which}
                for name, (each, _) in LISTS.items()
            ],
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
def photos_add(request):
    """Photos into one round: all at once, or one by one by the page's own script, which is answered as JSON."""
    form = PhotosForm(sent(request), request.FILES or None, initial={"submission": uuid4()})
    wants_json = request.get_preferred_type(["text/html", "application/json"]) == "application/json"
    if request.method == "POST" and form.is_valid():
        began = now()
        round = begin_photo_round(submission=form.cleaned_data["submission"], by=request.user)
        kept, refused = [], []
        for file in form.cleaned_data["photos"]:
            try:
                kept.append(keep_photo(file=file, name=file.name, today=localdate(), round=round, by=request.user))
            except RametError as error:
                refused.append(error)
        if wants_json:
            return _kept_as_json(round, kept, refused)
        for error in refused:
            messages.error(request, str(error))
        there = [photo for photo in kept if photo.arrived_at < began]
        _say_kept(request, kept, there)
        return redirect("photo_round", round.pk) if round.photos.exists() else redirect("photos")
    if wants_json and form.errors:
        sentence = " ".join(error for errors in form.errors.values() for error in errors)
        return JsonResponse({"kept": False, "sentence": sentence}, status=REFUSED)
    return form_page(request, "propagation/photos_add.html", form, {"taken": TAKEN})


def _kept_as_json(round, kept, refused):
    """For the script, which sends one at a time; again what is in this round already is news of nothing."""
    if refused:
        # A disk that is full may have room later.
        again = isinstance(refused[0], DiskFull)
        return JsonResponse({"kept": False, "sentence": str(refused[0]), "again": again}, status=REFUSED)
    photo = kept[0]
    there = photo.round_id != round.pk
    where = reverse("photo_round", args=[photo.round_id]) if photo.round_id else reverse("photo", args=[photo.pk])
    sentence = "It was there already." if there else "Kept."
    return JsonResponse({"kept": True, "there": there, "sentence": sentence, "round": where})


def _say_kept(request, kept, there):
    new = len(kept) - len(there)
    if new:
        messages.success(request, "1 photo is kept." if new == 1 else f"{new} photos are kept.")
    if there:
        names = ", ".join(photo.name for photo in there[:3])
        more = f" and {len(there) - 3} more" if len(there) > 3 else ""
        was = "was" if len(there) == 1 else "were"
        messages.info(request, f"{names}{more} {was} there already; nothing is kept twice.")


@require_safe
def photo_round(request, pk):
    """A round and how far it has come; asked for again by the page until every photo was looked into."""
    round = get_object_or_404(PhotoRound.objects.select_related("begun_by"), pk=pk)
    look_again_at_left_behind(now=now())
    rows = reading.with_what_they_show(round.photos.all()).order_by("pk")
    return render(
        request,
        "propagation/parts/round_progress.html" if request.htmx else "propagation/photo_round.html",
        {
            "round": round,
            "progress": reading.progress_of(round),
            "page": UncountedPaginator(rows, TILES).get_page(request.GET.get("page")),
        },
    )


def _found(pk) -> Photo:
    photos = Photo.objects.select_related("colony__lineage", "plug__lineage", "round", "arrived_by")
    return get_object_or_404(photos, pk=pk)


@require_safe
def photo(request, pk):
    return _photo_page(request, _found(pk))


def _photo_page(request, found, *, sort_form=None, date_form=None, status=200):
    measured = reading.latest_measurement(found)
    outline = measured.outline if measured else None
    return render(
        request,
        "propagation/photo.html",
        {
            "photo": found,
            "measured": measured,
            "accepted": reading.accepted_measurement(found),
            "area_cm2": measured.area_mm2 / MM2_IN_A_CM2 if outline else None,
            "area_sd_percent": 100 * measured.area_sd_mm2 / measured.area_mm2 if outline else None,
            "longest_sd_percent": 100 * measured.longest_sd_mm / measured.longest_mm if outline else None,
            "sort_form": sort_form or SortForm(),
            "date_form": date_form or DateForm(initial={"day": found.taken_on}),
            "pages_are_open": is_any_page_open(),
            "changes": changes_of(found, "taken_on", "dated_by", "set_aside_on", "is_shown"),
        },
        status=status,
    )


@require_POST
def photo_sort(request, pk):
    found, form = _found(pk), SortForm(request.POST)

    def sort(told):
        sorted_one = sort_photo(photo=found, of=told["of"], by=request.user)
        messages.success(request, f"It is a picture of {sorted_one.shows}.")
        return redirect("photo", pk=pk)

    if answer := carried_out(request, form, sort):
        return answer
    return _photo_page(request, found, sort_form=form, status=REFUSED)


@require_POST
def photo_date(request, pk):
    found, form = _found(pk), DateForm(request.POST)

    def date(told):
        date_photo(photo=found, on=told["day"], today=localdate(), by=request.user)
        messages.success(request, "The day is put right.")
        return redirect("photo", pk=pk)

    if answer := carried_out(request, form, date):
        return answer
    return _photo_page(request, found, date_form=form, status=REFUSED)


@require_POST
def photo_shown(request, pk, is_shown):
    """Let others see it, or nobody."""
    found = _found(pk)
    act = show_photo if is_shown else hide_photo
    words = "Others may see it now, without place and device." if is_shown else "Nobody else sees it now."
    tried(request, lambda: act(photo=found, by=request.user), words)
    return redirect("photo", pk=pk)


def _file(file, content_type, **more):
    try:
        return FileResponse(file.open("rb"), content_type=content_type, **more)
    except (FileNotFoundError, ValueError) as error:  # gone, or none was made
        raise Http404("The file of this photo is not there.") from error


@require_safe
def photo_original(request, pk):
    """The file as it came, for the keeper alone."""
    found = get_object_or_404(Photo, pk=pk)
    answer = _file(
        found.file, CONTENT_TYPES.get(found.suffix, "application/octet-stream"), as_attachment=True, filename=found.name
    )
    answer["Cache-Control"] = "private, no-store"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


def _copy(request, pk, field):
    """A copy without metadata: for the keeper, and for others if it was chosen for them."""
    found = get_object_or_404(Photo, pk=pk)
    is_keeper = request.user.is_authenticated
    if not is_keeper and not (found.is_shown and found.set_aside_on is None and is_any_page_open()):
        raise Http404("There is no such picture.")
    answer = _file(getattr(found, field), "image/jpeg")
    # What is hidden again must be gone soon.
    answer["Cache-Control"] = f"private, max-age={3600 if is_keeper else 300}"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


@login_not_required
@require_safe
def photo_screen(request, pk):
    return _copy(request, pk, "screen")


@login_not_required
@require_safe
def photo_thumbnail(request, pk):
    return _copy(request, pk, "thumbnail")
