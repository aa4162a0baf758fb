"""The review of photos with one thumb: accept, mend the outline, set the scale, keep as a picture, set aside."""

from urllib.parse import urlencode

from django.contrib import messages
from django.http import JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from propagation.actions.accept_measurement import accept_measurement, keep_as_picture, take_back_measurement
from propagation.actions.measure_photo import mend_outline, scale_by_points
from propagation.actions.propose_outline import propose_outline
from propagation.actions.sort_photo import set_aside_photo, take_back_photo
from propagation.errors import BadValue, MeasurementDoubtful, RametError, UnlikelySize
from propagation.forms.photo_review import OutlineForm, ProposeForm, ScaleForm
from propagation.forms.photos import AcceptForm
from propagation.models import Photo, Preferences
from propagation.readings import photos as reading
from propagation.readings.photo_colour import colour_beside
from propagation.readings.photo_sizes import sizes_beside
from propagation.views.answers import REFUSED, carried_out, form_page, sent

CAN_BE_UNDONE = {
    "accept": "The sizes of {} are in the records.",
    "picture": "{} is kept as a picture.",
    "aside": "{} is set aside.",
}


def _found(pk) -> Photo:
    return get_object_or_404(reading.with_what_they_show(Photo.objects.all()), pk=pk)


def _numbered(text):
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else None


@require_safe
def photo_review(request):
    """The photo to be reviewed next; ``after`` one that was left for later, ``done`` one that can be undone."""
    after = Photo.objects.filter(pk=_numbered(request.GET.get("after", ""))).first()
    found = reading.next_to_review(after)
    if found is None:
        return render(
            request,
            "propagation/photo_review_done.html",
            {"counts": reading.photo_counts(), "toast": _undo(request)},
        )
    return _page(request, found)


@require_safe
def photo_review_one(request, pk):
    """One photo, whether or not it is next."""
    return _page(request, _found(pk))


def _undo(request):
    """What was done last, with the way back, as the address tells it."""
    act, pk = request.GET.get("did", ""), _numbered(request.GET.get("done", ""))
    photo = (
        Photo.objects.select_related("colony", "plug").filter(pk=pk).first() if pk and act in CAN_BE_UNDONE else None
    )
    if photo is None or (photo.set_aside_on if act == "aside" else photo.reviewed_at) is None:
        return None
    return {
        "words": CAN_BE_UNDONE[act].format(photo.shows or photo),
        "undo_url": reverse("photo_reviewed", args=[photo.pk]),
        "undo_fields": [("act", "undo")],
    }


def _page(request, photo, *, ask="", then="", status=200):
    measured = reading.latest_measurement(photo)
    return render(
        request,
        "propagation/photo_review.html",
        {
            "photo": photo,
            "measured": measured,
            "beside": sizes_beside(photo, measured),
            "colour": colour_beside(photo, measured),
            "counts": reading.photo_counts(),
            "ask": ask,
            "then": then,
            "toast": None if ask else _undo(request),
            "later_url": f"{reverse('photo_review')}?{urlencode({'after': photo.pk})}",
        },
        status=status,
    )


@require_POST
def photo_reviewed(request, pk):
    """What is done with a photo. The next one follows, or with ``then`` the page of this one comes back."""
    photo, act, then = _found(pk), request.POST.get("act", ""), request.POST.get("then", "")
    here = redirect("photo" if then == "photo" else "photo_review_one", pk=pk)
    if act not in (*CAN_BE_UNDONE, "undo"):
        messages.error(request, "Choose what is to be done with this photo.")
        return here
    form = AcceptForm(request.POST, photo=photo)
    if act == "accept" and not form.is_valid():
        messages.error(request, "It was measured anew meanwhile; look at it once more.")
        return here
    try:
        words = _do(act, photo, form, request.user)
    except (MeasurementDoubtful, UnlikelySize) as error:
        return _page(request, photo, ask=str(error), then=then, status=REFUSED)
    except RametError as error:
        messages.error(request, str(error))
        return here
    if act == "undo" or then == "photo":
        messages.success(request, words)
        return here
    return redirect(f"{reverse('photo_review')}?{urlencode({'after': pk, 'did': act, 'done': pk})}")


def _do(act, photo, form, by) -> str:
    """Do it and say what was done."""
    today = localdate()
    if act == "accept":
        accept_measurement(today=today, by=by, **form.cleaned_data)
    elif act == "picture":
        keep_as_picture(photo=photo, by=by)
    elif act == "aside":
        set_aside_photo(photo=photo, today=today, by=by)
    elif photo.set_aside_on:
        take_back_photo(photo=photo, by=by)
        return "It is used again."
    else:
        had_sizes = reading.accepted_measurement(photo) is not None
        take_back_measurement(photo=photo, by=by)
        return "It is to be reviewed again" + ("; sizes from it are out of the records." if had_sizes else ".")
    return CAN_BE_UNDONE[act].format(photo.shows or photo)


def _nothing_to_see(request, photo):
    if photo.looked_at is None:
        messages.info(request, "It is being looked into still; in a moment it can be seen and measured.")
    else:
        messages.error(request, "It could not be opened, so there is nothing to measure in it.")
    return redirect("photo", pk=photo.pk)


@require_http_methods(["GET", "HEAD", "POST"])
def photo_outline(request, pk):
    """Mend the outline, or look for one in a box that is typed."""
    photo = _found(pk)
    if not photo.screen or not photo.width:
        return _nothing_to_see(request, photo)
    measured = reading.latest_measurement(photo)
    if measured is None:
        messages.info(request, "It has no scale yet: set one first, then the outline.")
        return redirect("photo_scale", pk=pk)
    form = OutlineForm(sent(request), initial={"outline": measured.outline})

    def look_in_the_box(told):
        box = form.box_in(photo)
        if box is None:
            raise BadValue("Say where the box is: its left edge before the right, the upper before the lower.")
        outline = propose_outline(photo=photo, box=box)
        return _outline_page(request, OutlineForm(initial={**told, "outline": outline}), photo)

    def mend(told):
        if not told["outline"]:
            raise BadValue("Draw an outline around the coral: a box is enough to begin with.")
        mend_outline(photo=photo, outline=told["outline"], based_on=measured, by=request.user)
        messages.success(request, "Measured with the new outline.")
        return redirect("photo_review_one", pk=pk)

    act = look_in_the_box if request.POST.get("act") == "box" else mend
    if answer := carried_out(request, form, act):
        return answer
    return _outline_page(request, form, photo)


def _outline_page(request, form, photo):
    context = {"photo": photo, "propose_url": reverse("photo_propose", args=[photo.pk])}
    return form_page(request, "propagation/photo_outline.html", form, context)


@require_POST
def photo_propose(request, pk):
    """For the page's script: a new outline from a box or strokes, as JSON."""
    photo, form = _found(pk), ProposeForm(request.POST)
    if not form.is_valid():
        return JsonResponse({"error": "What was drawn is not understood; draw it again."}, status=REFUSED)
    try:
        return JsonResponse({"outline": propose_outline(photo=photo, **form.cleaned_data)})
    except RametError as error:
        return JsonResponse({"error": str(error)}, status=REFUSED)


@require_http_methods(["GET", "HEAD", "POST"])
def photo_scale(request, pk):
    """The scale by two points of known distance."""
    photo = _found(pk)
    if not photo.screen or not photo.width:
        return _nothing_to_see(request, photo)
    form = ScaleForm(sent(request), photo=photo, length_unit=Preferences.current().length_unit)

    def set_scale(told):
        first, last = told["marks"]
        made = scale_by_points(photo=photo, first=first, last=last, distance_mm=told["distance"], by=request.user)
        messages.success(request, f"The scale is set: {made.px_per_mm:.1f} pixels a millimetre.")
        return redirect("photo_review_one" if made.outline else "photo_outline", pk=pk)

    if answer := carried_out(request, form, set_scale):
        return answer
    return form_page(request, "propagation/photo_scale.html", form, {"photo": photo})
