"""The round of a month on a phone: a dozen files are added, sorted and measured, and reviewed with one thumb."""

import base64
import io
import json
import re

import pytest
from django.urls import reverse
from PIL import Image
from playwright.sync_api import expect

from propagation.actions.keep_photo import keep_photo
from propagation.codes import new_code
from propagation.errors import DiskFull
from propagation.models import Method, Photo, PhotoRound, SizeReading
from propagation.readings.photos import latest_measurement
from propagation.views import photos as views
from tests.browser.accessibility import violations
from tests.factories import ColonyFactory, ReadyPlugFactory
from tests.propagation.photo_samples import DRAWN_CODES, as_file, as_heic, picture, picture_of, printed

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("files")]


def webp_of(jpeg: bytes) -> bytes:
    written = io.BytesIO()
    picture = Image.open(io.BytesIO(jpeg))
    picture.save(written, "WEBP", quality=90, exif=picture.getexif())
    return written.getvalue()


@pytest.fixture
def round_of_files(transactional_db):
    """Twelve files: four colonies and a plug, in four formats, and what goes wrong in a month."""
    colonies = [ColonyFactory(tag=f"RD{number}", code=DRAWN_CODES[number - 1]) for number in range(1, 5)]
    plug = ReadyPlugFactory(code=DRAWN_CODES[4])
    sides = printed(*colonies, plug)
    pictures = [
        as_file(picture_of(thing, label_mm=sides[thing.code], seed=3 + number).pixels)
        for number, thing in enumerate([*colonies, plug])
    ]
    png = io.BytesIO()
    Image.open(io.BytesIO(pictures[3])).save(png, "PNG")
    told = {
        "IMG_01.JPG": pictures[0],
        "IMG_02.HEIC": as_heic(pictures[1]),
        "IMG_03.webp": webp_of(pictures[2]),
        "IMG_04.png": png.getvalue(),
        "IMG_05.JPG": pictures[4],
        "IMG_06.JPG": as_file(picture_of(colonies[0], label_mm=sides[colonies[0].code], seed=11).pixels),
        "IMG_07.JPG": as_file(picture("", seed=12).pixels),  # no label in it
        "IMG_08.JPG": as_file(picture(f"HTTPS://ELSEWHERE.EXAMPLE/Q/{new_code()}", seed=13).pixels),
        "IMG_09.JPG": pictures[0],  # the same again
        "IMG_10.JPG": pictures[1][: len(pictures[1]) // 2],  # cut short
        "IMG_11.jpg": b"%PDF-1.7 no picture",
        "IMG_12.JPG": as_file(picture("", seed=14).pixels),
    }
    assert len(told) == 12
    return colonies, [{"name": name, "mimeType": "image/jpeg", "buffer": data} for name, data in told.items()]


def centre_of(page, selector):
    box = page.locator(selector).bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def drag(page, begin, end):
    page.mouse.move(*begin)
    page.mouse.down()
    page.mouse.move((begin[0] + end[0]) / 2, (begin[1] + end[1]) / 2)
    page.mouse.move(*end)
    page.mouse.up()


def test_the_round_of_a_month(browser_page, round_of_files, taps):
    colonies, files = round_of_files
    page = browser_page(360, 740)
    page.goto(reverse("photos_add"))
    page.locator("#id_photos").set_input_files(files)
    page.get_by_role("button", name="Add them").tap()
    page.get_by_text("“IMG_11.jpg” was not kept").wait_for(timeout=60_000)
    page.get_by_role("link", name="To the round").tap()
    page.get_by_text(re.compile("photos: .* sorted")).wait_for(timeout=60_000)
    assert violations(page) == []
    kept = {photo.name: photo for photo in Photo.objects.all()}
    assert "IMG_09.JPG" not in kept  # nothing is asked twice
    assert [str(kept[name].shows) for name in ("IMG_01.JPG", "IMG_02.HEIC", "IMG_03.webp", "IMG_04.png")] == [
        str(colony) for colony in colonies
    ]
    assert kept["IMG_05.JPG"].plug
    assert kept["IMG_07.JPG"].shows is None
    assert "not one of yours" in kept["IMG_08.JPG"].trouble

    # One tap each: the sizes are taken.
    hand = taps(page)
    page.goto(reverse("photo_review"))
    assert violations(page) == []
    for _ in range(2):
        before = page.url
        hand.tap(page.get_by_role("button", name="Accept", exact=True))
        page.wait_for_url(lambda address, before=before: address != before)
    assert hand.count == 2
    assert SizeReading.objects.filter(method=Method.PHOTO).count() == 4

    # The next one's outline is mended by dragging a point, then accepted.
    mended = kept["IMG_03.webp"]
    page.goto(reverse("photo_outline", args=[mended.pk]))
    page.locator(".outline-handle").first.wait_for()
    assert violations(page) == []
    was = json.loads(page.locator("[name=outline]").input_value())
    begin = centre_of(page, ".outline-handle:nth-child(1) .outline-dot")
    drag(page, begin, (begin[0] + 12, begin[1] + 12))
    now = json.loads(page.locator("[name=outline]").input_value())
    assert now[0] != was[0]
    assert now[len(now) // 2] == was[len(was) // 2]  # far away nothing moves
    page.get_by_role("button", name="Undo").tap()
    assert json.loads(page.locator("[name=outline]").input_value()) == was
    drag(page, begin, (begin[0] + 6, begin[1] + 6))
    page.get_by_role("button", name="Measure with this outline").tap()
    page.get_by_text("Measured with the new outline.").wait_for()
    assert latest_measurement(mended).outline_by == "keeper"

    # A photo without a label: whose it is, a scale by two points, a box, and its size is there.
    bare = kept["IMG_07.JPG"]
    page.goto(reverse("photo", args=[bare.pk]))
    page.get_by_label("It is a picture of").fill("rd4")
    page.get_by_role("button", name="Sort it").tap()
    page.get_by_text("It is a picture of").first.wait_for()
    page.goto(reverse("photo_scale", args=[bare.pk]))
    board = page.locator(".outline-sheet svg").bounding_box()
    for share in (0.2, 0.8):
        page.mouse.click(board["x"] + share * board["width"], board["y"] + 0.5 * board["height"])
    page.get_by_label("How far apart they are (mm)").fill("60")
    page.get_by_role("button", name="Set the scale").tap()
    page.get_by_text("The scale is set").wait_for()
    page.get_by_label("New box").check(force=True)
    board = page.locator(".outline-sheet svg").bounding_box()
    drag(
        page,
        (board["x"] + 0.02 * board["width"], board["y"] + 0.02 * board["height"]),
        (board["x"] + 0.98 * board["width"], board["y"] + 0.98 * board["height"]),
    )
    page.get_by_text("A new outline is proposed").wait_for(timeout=30_000)
    page.get_by_role("button", name="Measure with this outline").tap()
    page.get_by_text("Measured with the new outline.").wait_for()
    assert latest_measurement(bare).scale_by == "points"

    # Another keeper's label is set aside, and taken back.
    other = kept["IMG_08.JPG"]
    page.goto(reverse("photo_review_one", args=[other.pk]))
    page.get_by_role("button", name="Set aside").tap()
    page.get_by_role("button", name="Undo").tap()
    page.get_by_text("It is used again.").wait_for()
    other.refresh_from_db()
    assert other.set_aside_on is None


def test_an_outline_is_mended_by_keys_alone(browser_page, round_of_files):
    _, files = round_of_files
    page = browser_page(1280, 800, touch=False)
    page.goto(reverse("photos_add"))
    page.locator("#id_photos").set_input_files(files[:1])
    page.keyboard.press("Tab")
    page.get_by_role("button", name="Add them").press("Enter")
    page.wait_for_url("**/photos/rounds/**", timeout=60_000)
    photo = Photo.objects.get()
    page.goto(reverse("photo_outline", args=[photo.pk]))
    page.locator(".outline-handle").first.wait_for()
    was = json.loads(page.locator("[name=outline]").input_value())
    board = page.get_by_role("application")
    board.focus()
    page.keyboard.press("n")
    for _ in range(4):
        page.keyboard.press("Shift+ArrowRight")
    page.get_by_text(f"Point 2 of {len(was)}").wait_for()
    page.keyboard.press("a")
    page.get_by_text(f"Point 3 of {len(was) + 1}").wait_for()
    page.keyboard.press("Delete")
    now = json.loads(page.locator("[name=outline]").input_value())
    assert len(now) == len(was)
    assert now[1] != was[1]
    page.get_by_role("button", name="Measure with this outline").press("Enter")
    page.get_by_text("Measured with the new outline.").wait_for()


def test_a_second_finger_draws_nothing(browser_page, round_of_files):
    _, files = round_of_files
    page = browser_page(360, 740)
    sending(page, files[:1])
    page.wait_for_url("**/photos/rounds/**", timeout=60_000)
    page.goto(reverse("photo_outline", args=[Photo.objects.get().pk]))
    page.get_by_label("New box").check(force=True)
    board = page.locator(".outline-sheet svg")
    fingers = [("pointerdown", 1, 0.1), ("pointerdown", 2, 0.9), ("pointermove", 2, 0.8), ("pointermove", 1, 0.4)]
    for kind, finger, share in fingers:
        board.evaluate(
            """(svg, [kind, finger, share]) => {
              svg.setPointerCapture = () => {};
              const { left, top, width, height } = svg.getBoundingClientRect();
              const at = { clientX: left + share * width, clientY: top + share * height };
              svg.dispatchEvent(new PointerEvent(kind, { pointerId: finger, pointerType: "touch", ...at }));
            }""",
            [kind, finger, share],
        )
    box = page.locator(".outline-box").evaluate("({ x, width }) => [x.baseVal.value, width.baseVal.value]")
    photo = Photo.objects.get()
    assert box == pytest.approx([0.1 * photo.width, 0.3 * photo.width], abs=2)


def test_without_scripts_photos_are_added_and_accepted(browser_page, round_of_files):
    _, files = round_of_files
    page = browser_page(360, 740, scripts=False)
    page.goto(reverse("photos_add"))
    page.locator("#id_photos").set_input_files(files[:2])
    page.get_by_role("button", name="Add them").click()
    page.get_by_text("2 photos are kept.").wait_for(timeout=60_000)
    page.goto(reverse("photo_review"))
    page.get_by_role("button", name="Accept", exact=True).click()
    page.get_by_text("are in the records").wait_for()
    assert SizeReading.objects.count() == 2


# -- files dropped with the mouse

DROP = """
([files, selector]) => {
  const transfer = new DataTransfer();
  for (const { name, base64 } of files) {
    const bytes = Uint8Array.from(atob(base64), (sign) => sign.charCodeAt(0));
    transfer.items.add(new File([bytes], name, { type: "image/jpeg", lastModified: 0 }));
  }
  const onto = document.querySelector(selector);
  const over = new DragEvent("dragover", { dataTransfer: transfer, bubbles: true, cancelable: true });
  onto.dispatchEvent(over);
  const isOver = document.body.classList.contains("is-dropping");
  const drop = new DragEvent("drop", { dataTransfer: transfer, bubbles: true, cancelable: true });
  onto.dispatchEvent(drop);
  return [over.defaultPrevented, isOver, drop.defaultPrevented, document.body.classList.contains("is-dropping")];
}
"""


def drop(page, files, onto="h1"):
    """Let files fall; the page must take them, else the browser opens the first one and the page is gone."""
    told = [{"name": file["name"], "base64": base64.b64encode(file["buffer"]).decode()} for file in files]
    assert page.evaluate(DROP, [told, onto]) == [True, True, True, False]


def plain_files(number):
    """Pictures of nothing, each another one."""
    return [
        {"name": f"IMG_{n}.JPG", "mimeType": "image/jpeg", "buffer": as_file(picture("", seed=20 + n).pixels)}
        for n in range(1, number + 1)
    ]


def names_kept():
    return sorted(Photo.objects.values_list("name", flat=True))


def test_files_are_dropped_anywhere_on_the_page(browser_page):
    files = plain_files(3)
    page = browser_page(1280, 800, touch=False)
    page.goto(reverse("photos_add"))
    drop(page, files[:1])
    expect(page.get_by_text("IMG_1.JPG")).to_be_visible()
    drop(page, files[:2], onto="footer, main")
    expect(page.get_by_text("2 pictures chosen")).to_be_visible()  # the first is chosen once
    drop(page, files[2:], onto="#id_photos")
    expect(page.get_by_text("3 pictures chosen")).to_be_visible()
    expect(page.get_by_role("button", name="Add them")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url("**/photos/rounds/**", timeout=60_000)
    assert names_kept() == ["IMG_1.JPG", "IMG_2.JPG", "IMG_3.JPG"]
    assert PhotoRound.objects.count() == 1


def test_a_folder_is_dropped_with_the_mouse_itself(browser_page, tmp_path):
    """Chromium's own drag, which alone tells a folder from a file."""
    folder = tmp_path / "DCIM"
    (folder / "100").mkdir(parents=True)
    one, two = plain_files(2)
    (folder / one["name"]).write_bytes(one["buffer"])
    (folder / "100" / two["name"]).write_bytes(two["buffer"])
    (folder / "notes.txt").write_text("no picture")
    page = browser_page(1280, 800, touch=False)
    page.goto(reverse("photos_add"))
    mouse = page.context.new_cdp_session(page)
    for kind in ("dragEnter", "dragOver", "drop"):
        data = {"items": [], "files": [str(folder)], "dragOperationsMask": 1}
        mouse.send("Input.dispatchDragEvent", {"type": kind, "x": 600, "y": 600, "data": data})
    expect(page.get_by_text("2 pictures chosen")).to_be_visible()


# -- a connection that is lost


class Line:
    """What becomes of each upload in turn: ``arrives``, ``is lost`` before it arrives, or its ``answer is lost``.

    After these all arrive.
    """

    def __init__(self, page, *fates):
        self.fates, self.seen = list(fates), 0
        self.to_lose = set()
        self.session = page.context.new_cdp_session(page)
        self.session.on("Fetch.requestPaused", self.decide)
        patterns = [{"urlPattern": "*/photos/add/*", "requestStage": stage} for stage in ("Request", "Response")]
        self.session.send("Fetch.enable", {"patterns": patterns})

    def decide(self, event):
        request, is_answer = event["requestId"], "responseStatusCode" in event
        if not is_answer and event["request"]["method"] == "POST":
            fate = self.fates[self.seen] if self.seen < len(self.fates) else "arrives"
            self.seen += 1
            if fate == "is lost":
                self.session.send("Fetch.failRequest", {"requestId": request, "errorReason": "Failed"})
                return
            if fate == "answer is lost":
                self.to_lose.add(event["networkId"])
        if is_answer and event["networkId"] in self.to_lose:
            self.to_lose.remove(event["networkId"])
            self.session.send("Fetch.failRequest", {"requestId": request, "errorReason": "Failed"})
            return
        self.session.send("Fetch.continueRequest", {"requestId": request})


def sending(page, files):
    page.goto(reverse("photos_add"))
    page.locator("#id_photos").set_input_files(files)
    page.get_by_role("button", name="Add them").tap()


def test_what_did_not_get_through_is_named_and_sent_again_by_itself(browser_page):
    page = browser_page(360, 740, connected=False)
    Line(page, "arrives", "is lost", "answer is lost", "is lost", "is lost", "arrives", "answer is lost")
    sending(page, plain_files(4))
    lost = page.locator("[data-sending-lost]")
    expect(lost).to_contain_text("“IMG_2.JPG” did not get through")
    expect(lost).to_contain_text("Not sent yet: 3")
    assert violations(page) == []
    page.wait_for_url("**/photos/rounds/**", timeout=60_000)
    assert names_kept() == ["IMG_1.JPG", "IMG_2.JPG", "IMG_3.JPG", "IMG_4.JPG"]
    assert PhotoRound.objects.get().photos.count() == 4


def test_one_tap_sends_at_once_when_the_connection_is_back(browser_page):
    page = browser_page(360, 740, connected=False)
    page.clock.install()  # no time goes by, so nothing is sent again by itself
    sending(page, plain_files(1))
    page.wait_for_url("**/photos/rounds/**", timeout=60_000)
    page.goto(reverse("photos_add"))
    page.clock.pause_at(page.evaluate("Date.now()") + 1000)
    line = Line(page, "answer is lost")
    page.locator("#id_photos").set_input_files(plain_files(3)[1:])
    page.get_by_role("button", name="Add them").tap()
    expect(page.get_by_text("“IMG_2.JPG” did not get through")).to_be_visible()
    page.get_by_text("Not sent yet: 2").tap()
    expect(page.locator("[data-sending-names]")).to_have_text("IMG_2.JPGIMG_3.JPG")
    assert line.seen == 1
    drop(page, plain_files(4)[3:])  # one more comes to those that wait
    expect(page.get_by_text("0 of 3")).to_be_visible()
    page.get_by_role("button", name="Send it now").tap()
    page.wait_for_url("**/photos/rounds/**", timeout=60_000)
    assert names_kept() == ["IMG_1.JPG", "IMG_2.JPG", "IMG_3.JPG", "IMG_4.JPG"]
    assert line.seen == 4


def test_a_line_that_falls_silent_counts_as_lost(browser_page):
    page = browser_page(360, 740, connected=False)
    page.clock.install()
    page.goto(reverse("photos_add"))
    held = []
    page.route("**/photos/add/", lambda route: held.append(route))
    page.locator("#id_photos").set_input_files(plain_files(1))
    page.get_by_role("button", name="Add them").tap()
    expect(page.get_by_text("0 of 1")).to_be_visible()
    while not held:
        page.wait_for_timeout(10)
    page.clock.fast_forward(100_000)
    expect(page.get_by_text("“IMG_1.JPG” did not get through")).to_be_visible()
    page.unroute("**/photos/add/")
    page.get_by_role("button", name="Send it now").tap()
    page.wait_for_url("**/photos/rounds/**", timeout=60_000)
    assert names_kept() == ["IMG_1.JPG"]


def test_one_that_the_server_cannot_take_holds_up_no_other(browser_page, monkeypatch):
    def keep(*, name, **told):
        if name == "IMG_1.JPG":
            raise DiskFull(name)
        return keep_photo(name=name, **told)

    monkeypatch.setattr(views, "keep_photo", keep)
    page = browser_page(360, 740, connected=False)
    sending(page, plain_files(2))
    for _ in range(2):
        page.get_by_role("button", name="Send it now").tap()
    expect(page.get_by_text("1 of 2 was not kept.")).to_be_visible()
    expect(page.get_by_role("listitem").filter(has_text=str(DiskFull("IMG_1.JPG")))).to_be_visible()
    assert violations(page) == []
    assert names_kept() == ["IMG_2.JPG"]
    monkeypatch.setattr(views, "keep_photo", keep_photo)
    page.get_by_role("button", name="Send these again").tap()
    page.wait_for_url("**/photos/rounds/**", timeout=60_000)
    assert PhotoRound.objects.get().photos.count() == 2


def test_who_was_signed_out_signs_in_elsewhere_and_sends_the_rest(browser_page, session_cookie):
    page = browser_page(360, 740)
    page.goto(reverse("photos_add"))
    page.context.clear_cookies()
    page.locator("#id_photos").set_input_files(plain_files(2))
    page.get_by_role("button", name="Add them").tap()
    expect(page.get_by_text("You were signed out")).to_be_visible()
    assert names_kept() == []
    page.get_by_role("button", name="Send it now").tap()  # nobody has signed in yet
    expect(page.get_by_text("You were signed out")).to_be_visible()
    page.context.add_cookies([session_cookie])
    page.get_by_role("button", name="Send it now").tap()
    page.wait_for_url("**/photos/rounds/**", timeout=60_000)
    assert names_kept() == ["IMG_1.JPG", "IMG_2.JPG"]


def test_a_file_that_is_gone_before_it_is_sent_is_named(browser_page, tmp_path):
    page = browser_page(360, 740)
    for file in plain_files(2):
        (tmp_path / file["name"]).write_bytes(file["buffer"])
    page.goto(reverse("photos_add"))
    page.locator("#id_photos").set_input_files([tmp_path / "IMG_1.JPG", tmp_path / "IMG_2.JPG"])
    (tmp_path / "IMG_1.JPG").unlink()
    page.get_by_role("button", name="Add them").tap()
    expect(page.get_by_text("“IMG_1.JPG” cannot be read any more")).to_be_visible()
    expect(page.get_by_role("link", name="To the round")).to_be_focused()
    assert names_kept() == ["IMG_2.JPG"]


def test_photos_of_an_earlier_round_are_said_and_lead_to_it(browser_page):
    files = plain_files(2)
    page = browser_page(360, 740)
    sending(page, files)
    page.wait_for_url("**/photos/rounds/**", timeout=60_000)
    earlier = PhotoRound.objects.get()
    sending(page, files)
    expect(page.get_by_text("IMG_1.JPG, IMG_2.JPG were there already; nothing is kept twice.")).to_be_visible()
    page.get_by_role("link", name="To the round").tap()
    page.wait_for_url(f"**{reverse('photo_round', args=[earlier.pk])}")
    assert Photo.objects.count() == 2
