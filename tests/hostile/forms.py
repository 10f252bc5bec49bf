"""The forms of a page, as a browser would send them."""

from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import quote_plus

from django.http import HttpResponse
from django.test import Client

BOXES = {"text", "search", "email", "tel", "number", "date", "hidden", "password", "url"}


@dataclass
class Form:
    """Where a form goes, what it would send as it stands, and all names it may send."""

    action: str = ""
    method: str = "get"
    sent: dict[str, list[str]] = field(default_factory=dict)
    names: set[str] = field(default_factory=set)
    texts: set[str] = field(default_factory=set)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self.by_id: dict[str, Form] = {}
        self.select = self.area = ""
        self.at: Form | None = None

    def handle_starttag(self, tag, attrs):
        given = {key: value or "" for key, value in attrs}
        if tag == "form":
            self.at = Form(given.get("action", ""), given.get("method", "get").lower())
            self.forms.append(self.at)
            self.by_id[given.get("id", "")] = self.at
        form = self.by_id.get(given["form"]) if "form" in given else self.at
        name = given.get("name", "")
        if form is None or not (name or tag == "option"):
            return
        if tag in ("input", "select", "textarea", "button"):
            form.names.add(name)
        kind = given.get("type", "text") if tag == "input" else tag
        if kind in BOXES:
            form.sent.setdefault(name, []).append(given.get("value", ""))
            form.texts |= {name} if kind in ("text", "email", "tel", "search") else set()
        elif kind in ("checkbox", "radio") and "checked" in given:
            form.sent.setdefault(name, []).append(given.get("value", "on"))
        elif tag == "textarea":
            self.area = name
            form.texts.add(name)
            form.sent[name] = [""]
        elif tag == "select":
            self.select = name
        elif tag == "option" and "selected" in given and self.select:
            form.sent[self.select] = [given.get("value", "")]

    def handle_endtag(self, tag):
        if tag == "textarea":
            self.area = ""
        elif tag == "select":
            self.select = ""
        elif tag == "form":
            self.at = None

    def handle_data(self, data):
        if self.area:
            form = next(f for f in reversed(self.forms) if self.area in f.sent)
            form.sent[self.area][0] += data


def forms_of(page: str) -> list[Form]:
    reader = _Reader()
    reader.feed(page)
    for form in reader.forms:
        form.names.discard("csrfmiddlewaretoken")
        form.sent.pop("csrfmiddlewaretoken", None)
    return reader.forms


def form_at(client: Client, address: str, target: str = "") -> Form:
    """The form of a page that posts to ``target``, or to the page itself."""
    page = client.get(address)
    assert page.status_code == 200, address
    wanted = target or address
    found = [
        form
        for form in forms_of(page.content.decode())
        if form.method == "post" and (form.action or address).split("?")[0] == wanted
    ]
    assert found, f"{address} has no form that posts to {wanted}"
    return max(found, key=lambda form: len(form.names))


def post(client: Client, address: str, data: dict[str, list[str]]) -> HttpResponse:
    """Post as bytes, so that what is no text can be sent too."""
    pairs = [
        f"{quote_plus(name)}={quote_plus(value, errors='surrogatepass')}"
        for name, values in data.items()
        for value in values
    ]
    return client.generic(
        "POST", address, "&".join(pairs), content_type="application/x-www-form-urlencoded"
    )
