"""Corrections of issued reports: the next revision of the same number, which says why."""

from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.core.exceptions import ValidationError

from instruments.models import Instrument
from measurements.acts import record_check_in, void
from measurements.models import CheckIn, Damage, Photo, ServiceReport, Stage, Work
from measurements.privacy.acts import erase_customer
from measurements.privacy.record import reports_naming
from measurements.reports.content import FIRST_NUMBER, issue
from measurements.reports.facts import corrections
from measurements.reports.paper import pdf, pdf_html
from measurements.reports.revisions import replaced_words, revise
from shop.models import Customer
from tests.conftest import signed_in
from tests.factories import (
    CheckInFactory,
    CustomerFactory,
    DamageFactory,
    InstrumentFactory,
    PhotoFactory,
    UserFactory,
)
from tests.measurements.reports.test_content import CAME, make_visit, shown, text_of, values

pytestmark = pytest.mark.django_db
LATER = CAME + timedelta(days=2)
WHY = "the saddle was typed wrongly"


def at(moment):
    return time_machine.travel(moment, tick=False)


@pytest.fixture
def report(owner):
    with at(CAME + timedelta(hours=5)):
        return ServiceReport.objects.get(pk=issue(make_visit(), owner).pk)


def correct(report, by, reason="typed wrongly", **figures) -> CheckIn:
    """Replace the check-in as returned."""
    wrong = CheckIn.objects.get(instrument=report.instrument, stage=Stage.RETURNED, voided_at=None)
    right = {"bridge_rise_mm": 0.55, "saddle_bass_mm": 3.6, "saddle_treble_mm": 2.2} | figures
    return record_check_in(
        instrument=report.instrument,
        measured_at=wrong.measured_at,
        by=by,
        stage=Stage.RETURNED,
        actions_mm={(12, "bass"): 2.43, (12, "treble"): 1.61},
        replaces=wrong,
        reason=reason,
        **right,
    )


def test_a_revision_says_what_stands_now_and_why_and_the_first_stays(report, owner):
    before = shown(report)
    with at(LATER):
        correct(report, owner)
        second = revise(report, owner, why=f"  {WHY}\n ")
    assert (second.number, second.revision, second.why_revised) == (FIRST_NUMBER, 2, WHY)
    assert values(second.content, "Saddle height")[1][1] == "3.60 / 2.20 mm"
    page = shown(second)
    assert f"<h1>Service report {FIRST_NUMBER}, revision 2</h1>" in page
    assert f"In place of the report of 4 May 2026. What was corrected: <bdi>{WHY}.</bdi>" in page
    assert "Replaced" not in page
    first = ServiceReport.objects.get(pk=report.pk)
    assert first.content == report.content
    replaced = f"Replaced on 6 May 2026 by revision 2. What was corrected: {WHY}."
    assert replaced_words(first) == replaced
    # What was printed stands as it was, with this one line beside it.
    line = f'<p class="report-replaced"><strong>{replaced}</strong></p>'
    assert shown(first).replace(line, "").split() == before.split()
    assert replaced in text_of(pdf(first))[1]


def test_every_page_of_the_paper_names_number_and_revision(report, owner):
    second = revise(report, owner, why=WHY)
    for which, words in (
        (report, f"Service report {FIRST_NUMBER} "),
        (second, f"Service report {FIRST_NUMBER}, revision 2"),
    ):
        reader, _ = text_of(pdf(which))
        feet = [" ".join(page.extract_text().split()[-12:]) + " " for page in reader.pages]
        assert len(feet) == 2
        assert all(words in foot for foot in feet), feet
    assert reader.metadata.title.startswith(f"Service report {FIRST_NUMBER}, revision 2 –")


@pytest.mark.parametrize("why", ["", "   ", "\n"])
def test_a_revision_without_a_reason_is_refused(report, owner, why):
    with pytest.raises(ValidationError, match="Say what was corrected"):
        revise(report, owner, why=why)
    assert ServiceReport.objects.count() == 1


def test_only_the_newest_is_revised_and_the_same_form_once(report, owner):
    nonce = str(uuid4())
    second = revise(report, owner, why=WHY, nonce=nonce)
    assert revise(report, owner, why=WHY, nonce=nonce) == second
    with pytest.raises(ValidationError, match=r"Revision 2 was issued on .+, in the meantime"):
        revise(report, owner, why="another", nonce=str(uuid4()))
    assert revise(second, owner, why="once more").revision == 3
    assert "by revision 2" in replaced_words(report)  # the next in line says why


def test_a_revision_is_about_the_same_visit_though_it_came_again(report, owner):
    with at(LATER + timedelta(days=300)):
        CheckInFactory(
            instrument=report.instrument,
            measured_at=LATER + timedelta(days=300),
            bridge_rise_mm=1.9,
            saddle_bass_mm=1.0,
        )
        correct(report, owner)
        second = revise(report, owner, why=WHY)
    assert [day for _, day in second.content["columns"]] == ["4 May 2026", "4 May 2026"]
    assert values(second.content, "Bridge rise")[1] == ["0.55 mm", "0.55 mm"]
    assert "what to expect is said as of 4 May 2026" in shown(second)
    # The later reading, far above the trend, has no say in what was to be expected then.
    assert second.content["state"] == report.content["state"]
    assert second.content["work"] == report.content["work"]


def test_a_return_measured_after_the_issue_comes_into_the_revision(owner):
    with at(CAME + timedelta(hours=1)):
        instrument = InstrumentFactory()
        CheckInFactory(instrument=instrument, measured_at=CAME)
        report = issue(instrument, owner)
    with at(LATER):
        CheckInFactory(instrument=instrument, measured_at=LATER, stage=Stage.RETURNED)
        second = revise(report, owner, why="measured when it was handed back")
    assert [stage for stage, _ in second.content["columns"]] == ["As received", "As returned"]


def test_a_former_owner_is_told_nothing_of_the_new_one(report, owner):
    """Their link opens the newest revision."""
    buyer = CustomerFactory(name="Nora Newly", address="7 Quiet Lane", unit="in")
    Instrument.objects.update(customer=buyer)
    second = revise(report, owner, why=WHY)
    assert second.content["customer"] == report.content["customer"]
    assert second.content["unit"] == "mm"
    assert "Newly" not in str(second.content)
    assert "Quiet Lane" not in str(second.content)


def test_erasing_a_former_owner_reaches_a_revision_made_since(report, owner):
    former, buyer = Customer.objects.get(), CustomerFactory(name="Nora Newly")
    Instrument.objects.update(customer=buyer)
    second = revise(report, owner, why=WHY)
    assert reports_naming(former) == [second, report]
    assert reports_naming(buyer) == []
    erase_customer(former, by=owner, reason="asked for")
    for found in ServiceReport.objects.all():
        assert former.name not in str(found.content)
    third = revise(ServiceReport.objects.first(), owner, why="once more")
    assert "erased on" in third.content["customer"]["name"]


def test_a_customers_new_name_comes_into_the_revision(report, owner):
    Customer.objects.update(name="Wanda Reed-Hollis")
    second = revise(report, owner, why="the name was misspelt")
    assert second.content["customer"]["name"] == "Wanda Reed-Hollis"


# What was corrected since


def test_it_tells_when_a_reading_it_rests_on_was_corrected(report, owner):
    assert corrections(report) == []
    with at(LATER):
        correct(report, owner)
        old = report.instrument.check_ins.order_by("measured_at").first()
        void(old, by=owner, reason="another instrument's.")
        void(Work.objects.get(), by=owner, reason="logged twice")
    assert corrections(report) == [
        "The earlier check-in of 6 May 2018, on which the outlook rests, was voided on 6 May 2026: "
        "another instrument's.",
        "The check-in of 4 May 2026, as returned, was corrected on 6 May 2026: typed wrongly.",
        "Work of 4 May 2026 (saddle) was voided on 6 May 2026: logged twice.",
    ]
    assert corrections(revise(report, owner, why=WHY)) == []


def test_it_tells_of_voided_damage_and_photos_it_shows(owner):
    instrument = make_visit()
    came = instrument.check_ins.filter(stage=Stage.RECEIVED).last()
    photo = PhotoFactory(check_in=came, in_report=True, words="the crack")
    DamageFactory(check_in=came)
    other = PhotoFactory(check_in=came)
    report = issue(instrument, owner)
    with at(LATER):
        void(Damage.objects.get(), by=owner, reason="a scratch")
        void(photo, by=owner, reason="blurred")
        void(other, by=owner, reason="blurred")
    assert corrections(report) == [
        "Damage noted in it (top: crack, 40 mm, open) was voided on 6 May 2026: a scratch.",
        "A photo in it (the crack) was voided on 6 May 2026: blurred.",
    ]
    assert Photo.objects.count() == 2


def test_looking_for_corrections_takes_few_queries(report, owner, django_assert_max_num_queries):
    correct(report, owner)
    with django_assert_max_num_queries(4):
        assert len(corrections(report)) == 1


def test_a_report_from_before_facts_were_kept_says_nothing(report, owner):
    del report.content["facts"], report.content["glance"], report.content["estimate"]
    report.save()
    correct(report, owner)
    assert corrections(report) == []
    assert signed_in(owner).get(f"/reports/{report.number}/").status_code == 200
    assert "Service report" in pdf_html(report)


# By page


def form(client, report):
    page = client.get(f"/reports/{report.number}/revise/")
    bound = page.context["form"]
    return {"nonce": str(bound["nonce"].value()), "revision": page.context["report"].revision}


@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_staff_issue_the_revision_and_find_the_earlier_ones(report, owner, role):
    correct(report, owner)
    client = signed_in(UserFactory(role=role))
    page = client.get(f"/reports/{report.number}/").content.decode()
    assert "What it rests on has been corrected since." in page
    answer = client.post(
        f"/reports/{report.number}/revise/", form(client, report) | {"why": WHY}, follow=True
    )
    newest = answer.content.decode()
    assert answer.redirect_chain == [(f"/reports/{report.number}/", 302)]
    assert "Revision 2 is issued." in newest
    assert "corrected since" not in newest
    earlier = client.get(f"/reports/{report.number}/1/").content.decode()
    assert "by revision 2. What was corrected:" in earlier
    assert "/revise/" not in earlier
    assert client.get(f"/reports/{report.number}/2/").status_code == 200
    assert client.get(f"/reports/{report.number}/3/").status_code == 404
    assert client.get("/reports/").content.decode().count('<th scope="row"><a') == 1


def test_the_file_names_the_revision(report, owner):
    revise(report, owner, why=WHY)
    client = signed_in(owner)
    for address, name in (("pdf/", "-r2"), ("2/pdf/", "-r2"), ("1/pdf/", "")):
        answer = client.get(f"/reports/{report.number}/{address}")
        wanted = f'attachment; filename="service-report-{report.number}{name}.pdf"'
        assert answer["Content-Disposition"] == wanted


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"why": ""}, "Say what was corrected"),
        ({"why": "x" * 401}, "at most 400"),
        ({"why": WHY, "nonce": "no"}, "UUID"),
        ({"why": WHY, "revision": "99"}, ""),
    ],
)
def test_a_refused_form_issues_nothing_and_keeps_what_was_typed(report, owner, typed, words):
    client = signed_in(owner)
    answer = client.post(f"/reports/{report.number}/revise/", form(client, report) | typed)
    assert answer.status_code == (404 if typed.get("revision") else 422)
    assert ServiceReport.objects.count() == 1
    if words and typed["why"]:
        assert typed["why"] in answer.content.decode()


def test_a_second_person_is_told_of_the_revision_in_the_meantime(report, owner):
    client = signed_in(owner)
    mine = form(client, report)
    revise(report, owner, why="a colleague's")
    answer = client.post(f"/reports/{report.number}/revise/", mine | {"why": WHY})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "in the meantime" in page
    assert WHY in page
    assert "Issue revision 3" in page


def test_readings_that_do_not_fit_want_a_tick(owner):
    instrument = InstrumentFactory()
    CheckInFactory(instrument=instrument)
    report = issue(instrument, owner)
    slip = {(1, "bass"): 0.5, (1, "treble"): 0.35, (12, "bass"): 0.24, (12, "treble"): 1.88}
    CheckInFactory(instrument=instrument, measured_at=report.issued_at, actions_mm=slip)
    client = signed_in(owner)
    answer = client.post(f"/reports/{report.number}/revise/", form(client, report) | {"why": WHY})
    assert answer.status_code == 422
    assert "tick that they were checked" in answer.content.decode()
    ticked = form(client, report) | {"why": WHY, "anyway": "on"}
    assert client.post(f"/reports/{report.number}/revise/", ticked).status_code == 302
