"""The server's part of working without a connection: the worker, the pass, pages that name nobody."""

import json
import re

import pytest
from django.test import Client
from django.urls import reverse

from shop import offline
from tests.factories import InstrumentFactory

pytestmark = pytest.mark.django_db


def facts_of(response) -> dict[str, object]:
    return json.loads(re.search(r"^const facts = (.+);$", response.content.decode(), re.M)[1])


def is_there(address: str) -> bool:
    response = Client().get(address)
    response.close()  # a file of the static files
    return response.status_code == 200


def test_the_worker_stands_at_the_top_and_is_asked_for_anew_each_time():
    response = Client().get("/worker.js")
    assert response["Content-Type"] == "text/javascript"
    assert "no-cache" in response["Cache-Control"]


def test_the_worker_names_files_that_are_there():
    names, release = offline.kept_files()
    facts = facts_of(Client().get("/worker.js"))
    assert facts["release"] == release
    assert facts["files"] == [f"/static/{name}" for name in names]
    assert {"shop/outbox.js", "shop/drafts.js", "shop/entry.js", "shop/app.css"} <= set(names)
    for address in facts["files"]:
        assert is_there(address), address


def test_every_script_of_the_form_is_among_the_kept_files(at_bench):
    form = at_bench.get(reverse("check-in-add", kwargs={"tag": InstrumentFactory().tag}))
    used = set(re.findall(r'(?:src|href)="(/static/[^"]+)"', form.content.decode()))
    assert used
    assert used <= set(facts_of(Client().get("/worker.js"))["files"])


def test_another_release_has_another_name(tmp_path, monkeypatch):
    offline.kept_files.cache_clear()
    _, before = offline.kept_files()
    changed = tmp_path / "worker.js"
    changed.write_bytes(offline.WORKER.read_bytes() + b"\n")
    monkeypatch.setattr(offline, "WORKER", changed)
    offline.kept_files.cache_clear()
    _, after = offline.kept_files()
    offline.kept_files.cache_clear()
    assert before != after


def test_the_page_without_a_connection_names_nobody(at_desk):
    page = Client().get("/offline/").content.decode()
    assert "data-person" not in page
    assert "owner" not in page


def test_the_pass_is_the_signed_in_persons_and_its_token_is_taken(tech):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(tech)
    response = browser.get(reverse("outbox-pass"))
    assert "no-store" in response["Cache-Control"]
    given = response.json()
    assert given["person"] == str(tech.pk)
    address = reverse("check-in-add", kwargs={"tag": InstrumentFactory().tag})
    headers = {"X-Outbox": "1"}
    assert browser.post(address, headers=headers).status_code == 403
    headers["X-CSRFToken"] = given["token"]
    assert browser.post(address, headers=headers).status_code == 422


def test_the_policy_lets_only_our_own_worker_and_manifest_in(at_desk):
    policy = at_desk.get("/today/")["Content-Security-Policy"]
    assert "worker-src 'self'" in policy
    assert "manifest-src 'self'" in policy
    manifest = Client().get("/shop.webmanifest")
    assert manifest["Content-Type"] == "application/manifest+json"
    assert is_there(manifest.json()["icons"][0]["src"])


def test_a_session_that_ended_under_a_form_leads_back_to_the_form():
    form = reverse("check-in-add", kwargs={"tag": InstrumentFactory().tag})
    headers = {"HX-Request": "true", "HX-Current-URL": f"http://testserver{form}"}
    response = Client().post(f"{form}preview/", headers=headers)
    assert response["HX-Redirect"] == f"{reverse('sign-in')}?next={form}"


def test_a_foreign_address_is_not_led_back_to():
    headers = {"HX-Request": "true", "HX-Current-URL": "https://elsewhere.example/x/"}
    response = Client().get(reverse("today"), headers=headers)
    assert response["HX-Redirect"] == f"{reverse('sign-in')}?next={reverse('today')}"
