"""Every address that takes a post, sent what nobody would type: refused or kept, never half of it."""

import pytest
from django.apps import apps

from shop.models import AccessRecord
from tests.conftest import signed_in
from tests.factories import UserFactory
from tests.hostile.forms import Form, form_at, post
from tests.hostile.values import VALUES
from tests.test_access import MAY, addresses  # noqa: F401  a fixture

#: Addresses that are only posted to, by the page that holds their form; or the names they take.
HELD_BY = {
    "check-in-preview": "check-in-add",
    "check-in-void": {"reason"},
    "work-void": {"reason"},
    "photo-void": "photos",
    "damage-void": "photos",
    "booking-cancel": {"reason"},
    "photos-describe": "photos",
    "damage-note": "photos",
    "work-measure": {"again-uuid", "again-action_12_bass_mm", "again-saddle_bass_mm"},
    "report-issue": {"nonce", "anyway"},
    "report-link-close": set(),
    "staff-password": {"seen"},
    "feed-revoke": {"anything"},
    "letters-send": {"tag"},
    "second-factor-codes": {"password", "code"},
    "second-factor-off": {"password", "code"},
    "second-factor-set-up": {"code"},
    "staff-factor": {"password"},
}
#: Signing in and out is walked elsewhere; these two steps of an import need a file first.
ELSEWHERE = {
    "sign-in", "sign-in-code", "sign-out", "sign-out-everywhere", "import-match", "import-preview",
}  # fmt: skip
POSTED = sorted(name for name, (_, may_post) in MAY.items() if may_post and name not in ELSEWHERE)
#: These only do what their address says, whatever is sent along.
NOTHING_READ = {
    "feed-revoke", "feeds", "import-undo", "report-link-close", "report-links",
    "second-factor-set-up", "staff-factor",
}  # fmt: skip
#: One page that saves each of its parts by itself: what is right stays when another part is refused.
BY_PARTS = {"photos", "photos-describe", "photo-void", "damage-note", "damage-void"}
ANSWERS = (200, 302, 400, 404, 409, 422)
COUNTED = [
    model
    for label in ("shop", "instruments", "measurements")
    for model in apps.get_app_config(label).get_models()
    if model is not AccessRecord  # who was shown a record is kept, whatever is refused
]


def counts() -> dict[str, int]:
    return {model._meta.label: model._default_manager.count() for model in COUNTED}


@pytest.fixture
def walker(db):
    return signed_in(UserFactory(role="owner", username="walker"))


def form_for(name: str, at: dict[str, str], walker) -> Form:
    held = HELD_BY.get(name, name)
    if isinstance(held, set):
        return Form(at[name], "post", {key: [""] for key in held}, set(held), set(held))
    return form_at(walker, at[held])


def test_all_forms_are_walked():
    assert set(HELD_BY) <= set(POSTED)
    assert len(POSTED) > 25


@pytest.mark.parametrize("name", POSTED)
def test_hostile_values_are_refused_or_kept_whole(name, addresses, walker):  # noqa: F811
    form = form_for(name, addresses, walker)
    kept = counts()
    for what, value in VALUES.items():
        everywhere = {box: [value] for box in form.names}
        in_texts = form.sent | {box: [value] for box in form.texts}
        for data in (in_texts, everywhere) if form.texts != form.names else (everywhere,):
            answer = post(walker, addresses[name], data)
            assert answer.status_code in ANSWERS, what
            now = counts()
            if answer.status_code >= 400 and name not in BY_PARTS:
                assert now == kept, f"{name}, {what}: something was kept of what was refused"
            kept = now


@pytest.mark.parametrize("name", POSTED)
def test_one_hostile_value_among_good_ones(name, addresses, walker):  # noqa: F811
    form = form_for(name, addresses, walker)
    for box in sorted(form.names):
        answer = post(walker, addresses[name], form.sent | {box: [VALUES["nul"]]})
        assert answer.status_code in ANSWERS, box


@pytest.mark.parametrize("name", sorted(set(POSTED) - NOTHING_READ))
def test_too_much_at_once_is_refused_before_it_is_read(name, addresses, walker):  # noqa: F811
    before = counts()
    for data in ({"notes": ["x" * 1_000_001]}, {f"box{n}": [""] for n in range(500)}):
        assert post(walker, addresses[name], data).status_code == 400
    assert counts() == before


SEEN = {
    "halves of pairs": '"\\ud800"',
    "too deep": "[" * 20_000 + "]" * 20_000,
    "deep": "[" * 100 + "]" * 100,
    "not a number": "NaN",
    "a list": '[1, {"a": null}]',
    "a huge number": "1e999",
    "an object": '{"name": "x"}',
}


@pytest.mark.parametrize("what", sorted(SEEN))
@pytest.mark.parametrize("name", ["customer-edit", "instrument-edit", "settings"])
def test_what_a_form_says_it_showed_may_be_a_lie(name, what, addresses, walker):  # noqa: F811
    form = form_for(name, addresses, walker)
    boxes = sorted(form.names - {"seen", "version"})
    seen = "{" + ", ".join(f'"{box}": {SEEN[what]}' for box in boxes[-9:]) + "}"
    changed = {"name": ["Other"], "maker": ["Other"], "notes": ["other"]}
    for version in ("0", "7"):
        lie = {"seen": [seen], "version": [version], "asked": boxes}
        assert post(walker, addresses[name], form.sent | changed | lie).status_code in ANSWERS
    answers = {f"keep-{box}": ["theirs"] for box in boxes}
    lie = {"seen": [seen], "version": ["0"], "asked": ["nobody", *boxes]}
    assert post(walker, addresses[name], form.sent | lie | answers).status_code in ANSWERS
