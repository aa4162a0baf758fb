"""Scanning with the camera: Chromium plays a drawn label as what its camera sees."""

import io
import re
from urllib.parse import urlsplit

import numpy as np
import pytest
from django.urls import reverse
from PIL import Image, ImageFilter
from playwright.sync_api import expect

from inventory.models import LineagePrice
from labels.contents import content_of
from labels.drawing.sheet import draw_labels
from labels.drawing.stock import positions
from propagation.models import AllottedCode
from tests.browser.accessibility import violations
from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.factories import ColonyFactory, CutEventFactory, PlugFactory, RackFactory, ReadyPlugFactory
from tests.labels.drawing.samples import STOCKS, raster

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LAN = "reef.example"  # an address that is neither https nor this machine
FRAMES = 30
DPI = 300

# Writes on the page which cameras it opened and whether each is live or ended, how long the picture runs, and for the
# next page what the cameras were when this one was left.
WATCH = """
const cameras = [];
const note = () => (document.documentElement.dataset.cameras = cameras.map((each) => each.readyState).join(" "));
const devices = navigator.mediaDevices;
const open = devices.getUserMedia.bind(devices);
devices.getUserMedia = async (wanted) => {
  const stream = await open(wanted);
  cameras.push(...stream.getTracks());
  note();
  addEventListener("pagehide", () => sessionStorage.setItem("left", document.documentElement.dataset.cameras));
  return stream;
};
const stop = MediaStreamTrack.prototype.stop;
MediaStreamTrack.prototype.stop = function () {
  stop.call(this);
  note();
};
document.addEventListener(
  "timeupdate",
  (event) => (document.documentElement.dataset.seconds = Math.floor(event.target.currentTime)),
  true,
);
addEventListener("DOMContentLoaded", () => (document.documentElement.dataset.left = sessionStorage.getItem("left")));
"""


def label_of(plug):
    """The label as the printer burns it: dark is True."""
    stock = STOCKS[0]
    pdf = draw_labels([content_of(plug, base_address="https://ramet.example")], stock=stock, dpi=DPI).pdf
    place, dots = next(iter(positions(stock, 1))), DPI / 25.4
    top, left = round(place.y_mm * dots), round(place.x_mm * dots)
    height, width = round(stock.label_height_mm * dots), round(stock.label_width_mm * dots)
    return raster(pdf, 0, DPI)[top : top + height, left : left + width]


def seen_by_camera(dark=None, *, size=(640, 480)):
    """A grey bench, with a printed label in the middle of it: a little turned, a little out of focus."""
    bench = Image.new("RGB", size, (128, 132, 135))
    if dark is not None:
        paper = Image.fromarray(np.where(dark, 25, 235).astype(np.uint8)).convert("RGBA")
        share = 0.5 * size[1] / paper.height  # of which the code takes two thirds
        paper = paper.resize((round(paper.width * share), round(paper.height * share)))
        paper = paper.rotate(7, expand=True, resample=Image.Resampling.BICUBIC)
        bench.paste(paper, ((size[0] - paper.width) // 2, (size[1] - paper.height) // 2), paper)
    return bench.filter(ImageFilter.GaussianBlur(0.8))


@pytest.fixture
def film(tmp_path):
    return tmp_path / "film.mjpeg"


@pytest.fixture
def camera(film):
    """Lay a label, or nothing, before the camera: ``camera(plug)``."""

    def show(plug=None):
        picture = io.BytesIO()
        seen_by_camera(None if plug is None else label_of(plug)).save(picture, "JPEG", quality=90)
        film.write_bytes(picture.getvalue() * FRAMES)

    show()
    return show


@pytest.fixture
def chromium(chromium, film, request):
    """A browser that plays the film as its camera; or one that has none, see ``WITHOUT_CAMERA``.

    Each test has its own: a camera that was let go of runs on for a moment, with the film of the test before.
    """
    arguments = [*ARGUMENTS, f"--host-resolver-rules=MAP {LAN} 127.0.0.1"]
    if getattr(request, "param", True):
        arguments += ["--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={film}"]
    browser = chromium.browser_type.launch(executable_path=CHROMIUM, args=arguments)
    yield browser
    browser.close()


WITHOUT_CAMERA = pytest.mark.parametrize("chromium", [False], indirect=True)


@pytest.fixture
def scanner_page(browser_page, camera):
    """A page whose camera may be used: ``scanner_page(path)``; ``more`` goes to ``browser_page``."""

    def open_page(path, *, allowed=True, **more):
        page = browser_page(**more)
        if allowed:
            page.context.grant_permissions(["camera"])
        page.add_init_script(WATCH)
        page.goto(path)
        return page

    return open_page


@pytest.fixture
def plug():
    cut = CutEventFactory(mother=ColonyFactory(tag="M-ONE"), frags=1)
    LineagePrice.objects.create(lineage=cut.mother.lineage, amount=25)
    return ReadyPlugFactory(cut_event=cut, rack=RackFactory(name="Frag shelf"), rack_row=1, rack_column=1)


def scan_button(page):
    return page.get_by_role("button", name="Scan a label")


def scanner(page):
    return page.get_by_role("dialog", name="Scan a label")


def words(page):
    return scanner(page).get_by_role("status")


def opened(page):
    """The camera is on and looks for a label."""
    scan_button(page).click()
    expect(words(page)).to_have_text("Hold the label inside the frame.")
    return page


def is_off(page, cameras=1):
    """So many were opened, and none of them is on."""
    expect(page.locator("html")).to_have_attribute("data-cameras", " ".join(["ended"] * cameras))


def trouble(page):
    return page.locator("[data-camera-trouble][role=alert]")


def says_the_other_ways(page, sentence):
    expect(trouble(page)).to_contain_text(sentence)
    expect(trouble(page)).to_contain_text("take a picture of the label, or type its code.")
    expect(scanner(page)).to_be_hidden()
    expect(page.get_by_label("Take a picture of the label")).to_be_focused()


def asked(page, name="read_frame"):
    """Every request for this route, as it is sent."""
    sent = []
    page.on("request", lambda request: sent.append(request) if urlsplit(request.url).path == reverse(name) else None)
    return sent


# What it is for


def test_the_plug_that_is_held_before_the_camera_is_traced(scanner_page, camera, plug):
    page = scanner_page(reverse("trace"))
    camera(plug)
    scan_button(page).tap()
    page.wait_for_url(re.compile(re.escape(reverse("trace_plug", args=[plug.code]))))
    expect(page.get_by_role("main")).to_contain_text(plug.code_in_clear)
    expect(page.locator("html")).to_have_attribute("data-left", "ended")


def test_at_the_market_it_lies_in_the_basket_after_one_more_tap(scanner_page, camera, plug, taps):
    page = scanner_page(reverse("market"))
    camera(plug)
    hand = taps(page)
    hand.tap(scan_button(page))
    sell = page.get_by_role("button", name="Sell for €25.00")
    sell.wait_for()
    is_off(page)
    expect(page.locator("[data-market-plug]")).to_be_focused()
    hand.tap(sell)
    page.get_by_text("1 plug in the basket").wait_for()
    expect(scan_button(page)).to_be_visible()
    hand.tap(scan_button(page))  # the same one again
    page.get_by_text("It lies in the basket below.").wait_for()
    is_off(page, cameras=2)
    assert hand.count == 3


def test_at_the_bench_the_mother_is_chosen(scanner_page, camera, plug):
    page = scanner_page(reverse("cut"))
    camera(plug.cut_event.mother)
    scan_button(page).tap()
    expect(page.get_by_role("list", name="Chosen mothers")).to_contain_text("M-ONE")


def test_a_code_that_is_seen_in_every_frame_acts_once(scanner_page, camera, plug):
    page = scanner_page(reverse("market"))
    looked_up, frames = asked(page, "market"), asked(page)
    camera(plug)
    scan_button(page).tap()
    page.get_by_role("button", name="Sell for €25.00").wait_for()
    is_off(page)
    read = len(frames)
    page.get_by_role("button", name="Sell for €25.00").tap()
    page.get_by_text("1 plug in the basket").wait_for()
    assert [plug.code in each.url for each in looked_up].count(True) == 1
    assert len(frames) == read


# What is no label of this keeper


def test_the_label_of_nobody_here_is_named_and_the_camera_stays_open(scanner_page, camera, plug):
    page = scanner_page(reverse("trace"))
    mother = plug.cut_event.mother
    theirs = PlugFactory.build(code="7PHXEY94", cut_event=plug.cut_event, lineage=mother.lineage)
    camera(theirs)
    scan_button(page).tap()
    expect(words(page)).to_have_text(
        "There is no plug or colony with the code “7PHX-EY94”. Check it against the label."
    )
    PlugFactory(code=AllottedCode.objects.create(text="7PHXEY94").text)  # recorded at last
    page.wait_for_url(re.compile(re.escape(reverse("trace_plug", args=["7PHXEY94"]))))


def test_a_code_of_something_else_is_named(scanner_page):
    page = scanner_page(reverse("trace"))
    page.evaluate(OWN_READER, "https://feed.example/coral-food")
    scan_button(page).tap()
    expect(words(page)).to_have_text("This is “https://feed.example/coral-food”, no label of a plug or a colony.")


# A browser that reads codes itself

OWN_READER = """text => {
  window.BarcodeDetector = class {
    static getSupportedFormats = async () => ["qr_code"];
    detect = async () => {
      if (!text) throw new Error("no service");
      const at = (rawValue, x) => ({ rawValue, boundingBox: { x, y: 220, width: 50, height: 50 } });
      return [at("HTTPS://ELSE.EXAMPLE/AT-THE-EDGE", 0), at(text, 220)];
    };
  };
}"""


def test_where_the_browser_reads_no_picture_is_sent(scanner_page, plug):
    page = scanner_page(reverse("trace"))
    sent = asked(page)
    page.evaluate(OWN_READER, f"HTTPS://RAMET.EXAMPLE/Q/{plug.code}")
    scan_button(page).tap()
    page.wait_for_url(re.compile(re.escape(reverse("trace_plug", args=[plug.code]))))
    assert len(sent) == 1
    assert b"image/jpeg" not in sent[0].post_data_buffer


def test_where_the_reader_of_the_browser_fails_the_server_reads(scanner_page, camera, plug):
    page = scanner_page(reverse("trace"))
    page.evaluate(OWN_READER, "")
    camera(plug)
    scan_button(page).tap()
    page.wait_for_url(re.compile(re.escape(reverse("trace_plug", args=[plug.code]))))


# The way out


def test_a_camera_that_is_refused_is_said_with_the_other_ways(scanner_page):
    page = scanner_page(reverse("trace"), allowed=False)
    scan_button(page).tap()
    says_the_other_ways(page, "The camera is not allowed here")


@WITHOUT_CAMERA
def test_without_a_camera_the_other_ways_are_said(scanner_page):
    page = scanner_page(reverse("trace"))
    scan_button(page).tap()
    says_the_other_ways(page, "There is no camera here")


def test_on_an_address_without_https_there_is_the_picture_and_the_code(chromium, settings, session_cookie):
    settings.ALLOWED_HOSTS = ["*"]
    address = f"http://{LAN}:{urlsplit(session_cookie['url']).port}"
    # Chromium complains of a header that only counts on safe addresses, so this page is not one of `browser_page`.
    with chromium.new_context(base_url=address) as context:
        context.add_cookies([session_cookie | {"url": address}])
        page = context.new_page()
        page.goto(reverse("trace"))
        assert page.evaluate("navigator.mediaDevices === undefined")
        expect(page.get_by_label("Take a picture of the label")).to_be_visible()
        expect(page.get_by_role("main").get_by_label("Code, tag or name")).to_be_visible()
        expect(scan_button(page)).to_be_hidden()


def test_without_scripts_there_is_the_picture_and_the_code(browser_page):
    page = browser_page(scripts=False)
    page.goto(reverse("trace"))
    expect(page.get_by_role("button", name="Send the picture")).to_be_visible()
    expect(scan_button(page)).to_be_hidden()
    expect(scanner(page)).to_be_hidden()


def test_a_camera_that_is_pulled_out_is_said(scanner_page):
    page = opened(scanner_page(reverse("trace")))
    page.locator("dialog video").evaluate("video => video.srcObject.getTracks()[0].dispatchEvent(new Event('ended'))")
    says_the_other_ways(page, "The camera was switched off.")
    is_off(page)


def test_a_lost_connection_is_said_and_found_again(scanner_page, camera, plug):
    page = scanner_page(reverse("trace"), connected=False)
    page.route(f"**{reverse('read_frame')}", lambda route: route.abort())
    camera(plug)
    scan_button(page).tap()
    expect(words(page)).to_have_text("No connection to Ramet. It tries again.")
    page.unroute(f"**{reverse('read_frame')}")
    page.wait_for_url(re.compile(re.escape(reverse("trace_plug", args=[plug.code]))))


def test_who_was_signed_out_meanwhile_is_told(scanner_page):
    page = opened(scanner_page(reverse("trace")))
    page.context.clear_cookies()
    says_the_other_ways(page, "Load the page again and sign in if it asks")
    is_off(page)


# The camera goes off


@pytest.mark.parametrize("shut", ["Stop", "Escape"])
def test_a_scan_that_is_shut_switches_the_camera_off(scanner_page, shut):
    page = scanner_page(reverse("trace"), touch=False, width=1280)
    scan_button(page).focus()
    page.keyboard.press("Enter")
    expect(words(page)).to_have_text("Hold the label inside the frame.")
    expect(page.get_by_role("button", name="Stop")).to_be_focused()
    page.keyboard.press("Enter" if shut == "Stop" else shut)
    expect(scanner(page)).to_be_hidden()
    is_off(page)
    expect(scan_button(page)).to_be_focused()
    expect(trouble(page)).to_be_hidden()


def test_a_page_that_is_left_switches_the_camera_off(scanner_page):
    page = opened(scanner_page(reverse("trace")))
    page.goto(reverse("today"))
    expect(page.locator("html")).to_have_attribute("data-left", "ended")


def test_a_camera_that_nobody_looks_through_goes_off(scanner_page):
    page = opened(scanner_page(reverse("trace")))
    page.evaluate(
        """() => {
          Object.defineProperty(document, "hidden", { get: () => true });
          document.dispatchEvent(new Event("visibilitychange"));
        }"""
    )
    is_off(page)
    expect(scanner(page)).to_be_hidden()


def test_a_scan_that_is_shut_before_the_camera_opened_leaves_it_off(scanner_page):
    page = scanner_page(reverse("trace"))
    page.evaluate(
        """() => {
          const open = navigator.mediaDevices.getUserMedia;
          const wait = new Promise((resolve) => (window.allow = resolve));
          navigator.mediaDevices.getUserMedia = (wanted) => wait.then(() => open(wanted));
        }"""
    )
    scan_button(page).tap()
    expect(words(page)).to_have_text("The camera opens…")
    page.get_by_role("button", name="Stop").tap()
    page.evaluate("allow()")
    is_off(page)
    expect(scanner(page)).to_be_hidden()


def test_a_part_that_is_brought_in_anew_switches_its_camera_off(scanner_page):
    page = opened(scanner_page(reverse("market")))
    page.evaluate("htmx.ajax('GET', location.href, { target: '#market', swap: 'outerHTML' })")
    is_off(page)
    opened_again = scan_button(page)
    expect(opened_again).to_be_visible()


def test_a_double_tap_opens_one(scanner_page):
    page = scanner_page(reverse("trace"))
    scan_button(page).evaluate("button => { button.click(); button.click(); }")
    expect(words(page)).to_have_text("Hold the label inside the frame.")
    expect(page.locator("html")).to_have_attribute("data-cameras", "live")
    page.get_by_role("button", name="Stop").tap()
    is_off(page)


# One frame after the other


def test_no_frame_is_sent_before_the_last_one_is_answered(scanner_page):
    page = scanner_page(reverse("trace"))
    held = []
    page.route(f"**{reverse('read_frame')}", lambda route: held.append(route))
    opened(page)
    expect(page.locator("html")).to_have_attribute("data-seconds", re.compile("[2-9]"))
    assert len(held) == 1
    with page.expect_request(f"**{reverse('read_frame')}"):
        held[0].continue_()
    page.get_by_role("button", name="Stop").tap()


# The lamp

LAMP = """() => {
  MediaStreamTrack.prototype.getCapabilities = () => ({ torch: true });
  MediaStreamTrack.prototype.applyConstraints = async (wanted) => {
    document.documentElement.dataset.lamp = wanted.advanced[0].torch;
  };
}"""


def test_a_lamp_is_switched_where_there_is_one(scanner_page):
    page = scanner_page(reverse("trace"))
    page.evaluate(LAMP)
    opened(page)
    light = page.get_by_role("button", name="Light")
    for on in ("true", "false"):
        light.tap()
        expect(page.locator("html")).to_have_attribute("data-lamp", on)
        expect(light).to_have_attribute("aria-pressed", on)


def test_without_a_lamp_there_is_no_button_for_it(scanner_page):
    page = opened(scanner_page(reverse("trace")))
    expect(page.get_by_role("button", name="Light")).to_be_hidden()


# For everybody


@pytest.mark.parametrize(
    ("path", "width", "height", "dark"),
    [
        ("trace", 360, 640, False),
        ("market", 360, 740, True),
        ("market", 740, 360, False),  # a phone that lies on its side
        ("cut", 1280, 800, False),
        ("trace", 1280, 800, True),
    ],
)
def test_the_open_camera_is_fit_for_everybody(scanner_page, plug, path, width, height, dark):
    page = scanner_page(reverse(path), width=width, height=height, dark=dark, touch=width < 1000)
    page.evaluate(LAMP)
    opened(page)
    found = violations(page)
    assert found == []
    for button in ("Light", "Stop"):
        box = page.get_by_role("button", name=button).bounding_box()
        assert box["height"] >= 56
        assert box["width"] >= 88
        assert box["y"] + box["height"] <= height, f"{button} is below the edge"
        assert box["x"] + box["width"] <= width
    frame = page.locator(".scanner-frame").bounding_box()
    assert frame["width"] == pytest.approx(frame["height"], abs=1)
    assert frame["y"] >= 0
