"""Passports on pages: one's own key, a file read and taken in, the plug's button, and the address on a label."""

from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from labels.actions.issue_passport import issue_passport
from labels.keeper_key import keeper_did
from labels.models import KnownKey, Passport
from labels.passports.reading import MOST_BYTES, read_passport
from labels.passports.signing import canonical, did_of, fingerprint
from propagation.models import Acquisition, Plug, Preferences
from propagation.throttle import forget_guesses
from tests.factories import ColonyFactory, ContactFactory, CutEventFactory, LineageFactory, PlugFactory
from tests.keeper_on_papers import keep_for_papers, tells_of_it
from tests.labels.passport_samples import CODE, KEY, OTHER_KEY, chained, line, signed

pytestmark = pytest.mark.django_db

LD = "application/ld+json"


@pytest.fixture(autouse=True)
def home(settings, tmp_path):
    settings.RAMET_HOME = tmp_path
    forget_guesses()
    return tmp_path


@pytest.fixture
def plug():
    colony = ColonyFactory(tag="MOTHER-2", lineage__name="Harbour Ember", lineage__note="Secret note")
    return PlugFactory(cut_event=CutEventFactory(mother=colony, session__cut_on=date(2025, 4, 1)))


def sample(**kwargs):
    return signed(line(cut=date(2025, 7, 1)), **{"created": timezone.now() - timedelta(days=2)} | kwargs)


def send(client, data, name="passport.jsonld"):
    data = data if isinstance(data, bytes) else canonical(data)
    return client.post(reverse("passport_read"), {"passport": SimpleUploadedFile(name, data)})


def figures(did):
    """The figures of a key as a page shows them."""
    return " ".join(f'<span class="code">{group}</span>' for group in fingerprint(did))


def filled(answer, **kwargs):
    form = answer.context["form"]
    told = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in (told | kwargs).items() if value is not None}


# One's own key and others' -------------------------------------------------------------------------------------------


def test_the_page_shows_ones_own_figures(signed_in):
    page = signed_in.get(reverse("passports")).content.decode()
    assert figures(keeper_did()) in page
    assert "None yet" in page
    assert "Nothing yet" in page
    assert "A key that is lost cannot be made again" in page


def test_a_spoilt_key_is_said_and_the_page_still_opens(signed_in, home, plug):
    keeper_did()
    (home / "keys" / "passport_key.pem").write_text("spoilt")
    assert "cannot be read" in signed_in.get(reverse("passports")).content.decode()
    answer = signed_in.get(reverse("passport_of", args=[plug.code]), follow=True)
    assert "cannot be read" in answer.content.decode()
    assert answer.redirect_chain[-1][0] == reverse("plug", args=[plug.code])


def test_a_key_is_named(signed_in):
    key = KnownKey.objects.create(did=did_of(KEY))
    other = KnownKey.objects.create(did=did_of(OTHER_KEY), name="The quay")
    address = reverse("key_name", args=[key.pk])
    page = signed_in.get(address)
    assert figures(key.did) in page.content.decode()
    refused = signed_in.post(address, filled(page, name=other.name))
    assert refused.status_code == 422
    assert "There is a key named" in refused.content.decode()
    assert signed_in.post(address, filled(page, name="The shed")).url == reverse("passports")
    key.refresh_from_db()
    assert key.name == "The shed"
    assert key.history.first().history_user.username == "keeper"
    assert "The shed" in signed_in.get(reverse("passports")).content.decode()


# A file is read and taken in -----------------------------------------------------------------------------------------


def test_a_passport_is_read_looked_at_and_taken_in(signed_in):
    answer = send(signed_in, sample())
    page = answer.content.decode()
    assert answer.status_code == 200
    for words in (
        "Frag G6X9-8HR4 was cut",
        "from the mother colony MOTHER-2",
        "calls itself “The Lagoon Shed”",
        "a key that is new to you",
        figures(did_of(KEY)),
        "You have not named this key yet",
    ):
        assert words in page
    assert not Acquisition.objects.exists()
    assert not KnownKey.objects.exists()
    done = signed_in.post(
        reverse("passport_import"), filled(answer, contact_name="Shed", amount="12", kind="gift", stage="sealed")
    )
    acquisition = Acquisition.objects.get()
    assert done.url == reverse("acquisition", args=[acquisition.pk])
    assert (acquisition.kind, acquisition.terms.contact.name, acquisition.terms.amount) == ("gift", "Shed", 12)
    assert acquisition.plugs.get().stage == "sealed"
    assert acquisition.passport.imported_by.username == "keeper"
    assert reverse("passport", args=[acquisition.passport.pk]) in signed_in.get(done.url).content.decode()


def test_a_known_key_is_shown_by_its_name(signed_in):
    KnownKey.objects.create(did=did_of(KEY), name="The quay")
    page = send(signed_in, sample()).content.decode()
    assert "The quay, whose key you know" in page
    assert "You have not named this key yet" not in page


def test_a_colony_needs_its_tag_and_what_was_typed_stays(signed_in):
    answer = send(signed_in, sample())
    refused = signed_in.post(reverse("passport_import"), filled(answer, what="colony", note="A note that stays"))
    page = refused.content.decode()
    assert refused.status_code == 422
    assert "Give the colony a tag." in page
    assert "A note that stays" in page
    done = signed_in.post(reverse("passport_import"), filled(refused, tag="HE7"))
    assert done.status_code == 302
    assert Acquisition.objects.get().colonies.get().tag == "HE7"


def test_a_day_before_it_began_is_refused_at_its_field(signed_in):
    answer = send(signed_in, sample())
    refused = signed_in.post(reverse("passport_import"), filled(answer, day="2025-06-30"))
    assert refused.status_code == 422
    assert "before it began" in refused.context["form"].errors["day"][0]


def test_the_form_says_which_lineage_it_joins(signed_in):
    LineageFactory(name="harbour ember")
    page = send(signed_in, sample()).content.decode()
    assert "You keep harbour ember already; it joins that lineage" in page


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "The file is empty"),
        (b"not json", "not JSON"),
        (b"x" * (MOST_BYTES + 1), "too large"),
        (b"[" * 5000, "nested too deeply"),
        (b'{"schemaVersion": "ramet-passport-9"}', "another version"),
    ],
)
def test_a_file_that_is_refused_says_why_at_its_field(signed_in, data, reason):
    answer = send(signed_in, data)
    assert answer.status_code == 422
    assert reason in answer.content.decode()
    assert reason in answer.context["form"].errors["passport"][0]


def test_no_file_is_said(signed_in):
    answer = signed_in.post(reverse("passport_read"), {})
    assert answer.status_code == 422
    assert "Choose the file of the passport." in answer.content.decode()
    assert signed_in.get(reverse("passport_read")).url == reverse("passports")


def test_what_was_altered_between_the_two_pages_is_refused(signed_in):
    told = filled(send(signed_in, sample()))
    told["document"] = told["document"].replace("Harbour", "Harbor")
    answer = signed_in.post(reverse("passport_import"), told, follow=True)
    assert "altered" in answer.content.decode()
    assert not Acquisition.objects.exists()


def test_one_that_came_already_leads_to_its_acquisition(signed_in):
    told = filled(send(signed_in, sample()))
    signed_in.post(reverse("passport_import"), told)
    acquisition = Acquisition.objects.get()
    page = send(signed_in, sample(created=timezone.now() - timedelta(days=1))).content.decode()
    assert "It came in already" in page
    assert reverse("acquisition", args=[acquisition.pk]) in page
    assert reverse("passport_import") not in page
    again = signed_in.post(reverse("passport_import"), told | {"submission": "6f1b2f0e-3c2a-4d8e-9d38-0f4a6d1a2b3c"})
    assert again.url == reverse("acquisition", args=[acquisition.pk])
    assert Acquisition.objects.count() == 1


def test_ones_own_plug_is_offered_as_a_return(signed_in, plug):
    data = issue_passport(individual=plug, now=timezone.now())
    page = send(signed_in, data).content.decode()
    assert "This is your own plug" in page
    assert reverse("passport_import") not in page
    Plug.objects.filter(pk=plug.pk).update(fate="sold", ended_on=date(2025, 6, 1))
    answer = send(signed_in, data)
    assert "It comes back" in answer.content.decode()
    assert "kind" not in answer.context["form"].fields
    assert signed_in.post(reverse("passport_import"), filled(answer)).status_code == 302
    assert plug.returns.get().kind == "returned"


def test_the_passport_that_came_is_shown_and_handed_out_as_it_was(signed_in):
    document = chained(sample(), came=date(2025, 8, 1), created=timezone.now() - timedelta(days=1))
    signed_in.post(reverse("passport_import"), filled(send(signed_in, document)))
    passport = Passport.objects.get()
    page = signed_in.get(reverse("passport", args=[passport.pk])).content.decode()
    assert "Before that, told by The Lagoon Shed" in page
    file = signed_in.get(reverse("passport_file", args=[passport.pk]))
    assert file.content == canonical(document)
    assert file["Content-Type"] == LD
    assert 'filename="passport-TDSP-NJ3T.jsonld"' in file["Content-Disposition"]


# Before it came here -------------------------------------------------------------------------------------------------


@pytest.fixture
def came(signed_in):
    """A plug that came with the passports of two keepers, one of whose keys has a private name."""
    document = chained(sample(), came=date(2025, 8, 1), created=timezone.now() - timedelta(days=1))
    signed_in.post(reverse("passport_import"), filled(send(signed_in, document)))
    KnownKey.objects.filter(did=did_of(KEY)).update(name="Secret Contact")
    return Plug.objects.get()


def test_the_trace_goes_on_before_it_came(signed_in, came):
    page = signed_in.get(reverse("trace_plug", args=[came.code])).content.decode()
    assert "Before it came here" in page
    assert "As told by a keeper without a name" in page
    assert "As told by Secret Contact" in page
    assert "Frag G6X9-8HR4 was cut" in page
    told = signed_in.get(reverse("trace_json", args=[came.code])).json()["passport"]
    assert [part["code"] for part in told] == ["TDSP-NJ3T", "G6X9-8HR4"]
    assert told[1]["steps"][0] == {
        "date": "2025-07-01",
        "what": "Frag G6X9-8HR4 was cut from the mother colony MOTHER-2",
    }


def test_a_stranger_sees_it_too_but_not_what_the_keeper_calls_a_key(client, came):
    client.logout()
    page = client.get(reverse("scan", args=[came.code])).content.decode()
    assert "Before it came here" in page
    assert "As told by The Lagoon Shed" in page
    assert "Frag G6X9-8HR4 was cut" in page
    assert "Secret" not in page


def test_a_passport_that_can_no_longer_be_read_is_said(signed_in, came):
    Passport.objects.update(text="{}")
    for address in (reverse("trace_plug", args=[came.code]), reverse("passport", args=[Passport.objects.get().pk])):
        assert "cannot be read" in signed_in.get(address).content.decode()
    assert signed_in.get(reverse("passport_of", args=[came.code]), follow=True).status_code == 200


# The button, and the address on a label ------------------------------------------------------------------------------


def test_the_page_of_a_plug_hands_out_its_passport(signed_in, plug):
    address = reverse("passport_of", args=[plug.code])
    assert address in signed_in.get(reverse("plug", args=[plug.code])).content.decode()
    answer = signed_in.get(address)
    assert answer["Content-Type"] == LD
    assert f'filename="passport-{plug.code_in_clear}.jsonld"' in answer["Content-Disposition"]
    assert read_passport(answer.content, now=timezone.now()).line.code == plug.code
    Plug.objects.filter(pk=plug.pk).update(fate="sold", ended_on=date(2025, 6, 1))
    assert address in signed_in.get(reverse("plug", args=[plug.code])).content.decode()


def test_the_page_of_a_colony_hands_out_its_passport(signed_in, plug):
    colony = plug.cut_event.mother
    address = reverse("passport_of", args=[colony.code])
    assert address in signed_in.get(reverse("colony", args=[colony.tag])).content.decode()
    assert read_passport(signed_in.get(address).content, now=timezone.now()).line.itself.tag == "MOTHER-2"


def test_a_plug_that_has_none_is_said(signed_in, plug):
    Plug.objects.filter(pk=plug.pk).update(fate="void", ended_on=plug.began_on)
    address = reverse("passport_of", args=[plug.code])
    assert address not in signed_in.get(reverse("plug", args=[plug.code])).content.decode()
    assert "void" in signed_in.get(address, follow=True).content.decode()
    assert "There is no plug" in signed_in.get(reverse("passport_of", args=[CODE]), follow=True).content.decode()


@pytest.mark.parametrize(
    ("accept", "is_passport"),
    [
        ("application/ld+json", True),
        ("application/ld+json;q=0.9, text/html;q=0.8", True),
        ("text/html;q=0.2, application/*;q=0.3", True),
        ("text/html, application/ld+json;q=0.9", False),
        ("application/ld+json;q=0.5, */*;q=0.8", False),
        ("application/ld+json;q=0, */*", False),
        ("text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", False),
        ("*/*", False),
        ("image/png", False),
        ("", False),
        ("nonsense;;;,,q=x", False),
        (None, False),
    ],
)
def test_the_address_of_a_label_answers_as_it_is_asked(client, plug, accept, is_passport):
    answer = client.get(reverse("scan", args=[plug.code]), headers={} if accept is None else {"accept": accept})
    assert answer.status_code == 200
    assert "Accept" in answer["Vary"]
    assert "noindex" in answer["X-Robots-Tag"]
    assert "no-store" in answer["Cache-Control"]
    assert answer["Content-Type"].startswith(LD if is_passport else "text/html")
    if is_passport:
        assert read_passport(answer.content, now=timezone.now()).line.code == plug.code


def test_a_stranger_learns_nothing_more_from_it_than_from_the_page(client, plug):
    ContactFactory(name="Secret Contact")
    Plug.objects.filter(pk=plug.pk).update(note="Secret note")
    told = client.get(reverse("scan", args=[plug.code]), headers={"accept": LD}).content.decode()
    assert "Harbour Ember" in told
    assert "Secret" not in told
    assert plug.cut_event.mother.code not in told


def test_what_is_written_for_papers_is_in_no_passport(signed_in, plug):
    keep_for_papers()
    for_a_stranger = Client().get(reverse("scan", args=[plug.code]), headers={"accept": LD})
    for_the_keeper = signed_in.get(reverse("passport_of", args=[plug.code]))
    for handed_out in (for_a_stranger, for_the_keeper):
        assert read_passport(handed_out.content, now=timezone.now()).line.code == plug.code
        assert not tells_of_it(handed_out.content)


def test_switched_off_nobody_gets_one(client, plug):
    Preferences.objects.create(pk=1, public_pages=False)
    answers = [client.get(reverse("scan", args=[code]), headers={"accept": LD}) for code in (plug.code, CODE)]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1
    assert all("Accept" in answer["Vary"] for answer in answers)


def test_guesses_count_alike(client, plug, settings):
    settings.CODE_GUESSES_BY_STRANGERS = "3/minute"
    for _ in range(3):
        answer = client.get(reverse("scan", args=[CODE]), headers={"accept": LD})
        assert answer.status_code == 404
    answer = client.get(reverse("scan", args=[plug.code]), headers={"accept": LD})
    assert answer.status_code == 429
    assert "Retry-After" in answer


def test_the_keeper_gets_it_there_too(signed_in, plug):
    answer = signed_in.get(reverse("scan", args=[plug.code]), headers={"accept": LD})
    assert answer["Content-Type"] == LD
    assert signed_in.get(reverse("scan", args=[plug.code])).url == reverse("plug", args=[plug.code])


def test_a_spoilt_key_leaves_strangers_the_page(client, plug, home):
    keeper_did()
    (home / "keys" / "passport_key.pem").write_text("spoilt")
    answer = client.get(reverse("scan", args=[plug.code]), headers={"accept": LD})
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith("text/html")
