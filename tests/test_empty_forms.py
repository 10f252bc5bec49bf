"""Every form sent empty says by its name what is needed, never only that "this field" is."""

import pytest
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from shop.named_forms import Form, NamesWhatIsNeeded
from tests.conftest import signed_in
from tests.factories import UserFactory
from tests.hostile.forms import forms_of, post
from tests.hostile.test_forms import POSTED, form_for
from tests.test_access import BY_LINK, MAY, addresses  # noqa: F401  a fixture

#: Django 5.2's words for an empty box (``Field.default_error_messages``), in the app's two languages.
UNNAMED = {"en-gb": "This field is required", "de": "Dieses Feld ist zwingend erforderlich"}
LANGUAGES = sorted(UNNAMED)


@pytest.fixture
def walker(db, request):
    browser = signed_in(UserFactory(role="owner", username="walker"))
    browser.defaults["HTTP_ACCEPT_LANGUAGE"] = request.param
    return browser


def empty(form) -> dict[str, list[str]]:
    return {name: [""] for name in form.names}


def unnamed(answer) -> bool:
    return any(words in answer.content.decode(errors="replace") for words in UNNAMED.values())


@pytest.mark.parametrize("walker", LANGUAGES, indirect=True)
def test_no_form_of_the_app_leaves_a_box_unnamed(addresses, walker):  # noqa: F811
    opened = {name: form_for(name, addresses, walker) for name in POSTED}
    refused, found = [], []
    for name, form in opened.items():
        for data in (empty(form), {}):
            answer = post(walker, addresses[name], data)
            refused += [name] if answer.status_code == 422 else []
            found += [name] if unnamed(answer) else []
    assert found == []
    assert len(set(refused)) > 15


@pytest.mark.parametrize("walker", LANGUAGES, indirect=True)
def test_nor_does_a_form_that_only_asks(addresses, walker):  # noqa: F811
    asked = 0
    for name in sorted(set(MAY) - BY_LINK):
        page = walker.get(addresses[name])
        if page.status_code != 200 or "text/html" not in page["Content-Type"]:
            continue
        for form in (form for form in forms_of(page.text) if form.method == "get"):
            answer = walker.get(form.action or addresses[name], empty(form))
            asked += 1
            assert not unnamed(answer), name
    assert asked > 5


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("data", [{}, {"username": "", "password": ""}])
def test_nor_does_the_sign_in(db, language, data):
    answer = Client(headers={"accept-language": language}).post(reverse("sign-in"), data)
    assert answer.status_code in (200, 422)
    assert answer.context["form"].errors
    assert not unnamed(answer)


@pytest.mark.parametrize("walker", LANGUAGES, indirect=True)
def test_nor_does_the_matching_of_old_records(walker, settings, tmp_path):
    settings.IMPORT_DIR = str(tmp_path / "imports")
    file = SimpleUploadedFile("log.csv", b"Instrument;Owner;Date\nK7;Ines;18/3/2015\n")
    address = walker.post(reverse("imports"), {"file": file})["Location"]
    answer = walker.post(address, {})
    assert answer.context["form"].errors
    assert not unnamed(answer)


def test_every_form_of_ours_is_made_from_the_one_that_names():
    ours = [
        form
        for form in _all_kinds_of(forms.BaseForm)
        if form.__module__.split(".")[0] in ("shop", "instruments", "measurements")
    ]
    assert len(ours) > 35
    assert [form for form in ours if not issubclass(form, NamesWhatIsNeeded)] == []


def _all_kinds_of(kind: type) -> set[type]:
    below = set(kind.__subclasses__())
    return below.union(*(_all_kinds_of(each) for each in below))


@pytest.mark.parametrize(
    ("field", "words"),
    [
        (forms.CharField(label="Name"), "Name is needed."),
        (forms.IntegerField(), "Box is needed."),
        (forms.ChoiceField(label="Sheet", choices=[("a", "A")]), "Sheet is needed: choose one."),
        (forms.FileField(label="File"), "File is needed: choose a file."),
        (forms.CharField(error_messages={"required": "Say why."}), "Say why."),
    ],
)
def test_it_says_what_is_needed_and_what_would_be_right(field, words):
    form = type("OneBox", (Form,), {"box": field})({})
    assert form.errors == {"box": [words]}


@pytest.mark.parametrize("walker", ["en-gb"], indirect=True)
@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("report-mail", "Not sent yet."),
        ("report-revise", "Not issued yet."),
        ("labels", "Not printed yet."),
        ("booking-add", "Not booked yet."),
        ("customer-erase", "Nothing is erased yet."),
        ("customer-add", "Not saved yet."),
    ],
)
def test_a_refusal_says_what_has_not_happened(name, words, addresses, walker):  # noqa: F811
    answer = post(walker, addresses[name], {})
    assert answer.status_code == 422
    assert words in answer.text
    assert ("Not saved yet." in answer.text) == (words == "Not saved yet.")
