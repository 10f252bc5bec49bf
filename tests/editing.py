"""What an edit form carries, and all that it would send as it stands."""

from html import unescape
from html.parser import HTMLParser

from django.test import Client


class _Form(HTMLParser):
    """Collects what the last form of a page would send, or the one that has a ``seen``."""

    def __init__(self) -> None:
        super().__init__()
        self.sent: dict[str, list[str]] = {}
        self.select = self.area = ""

    def handle_starttag(self, tag, attrs):
        values = {name: value if value is not None else "" for name, value in attrs}
        name = values.get("name", "")
        if tag == "form":
            self.sent = self.sent if "seen" in self.sent else {}
        elif tag == "input" and name:
            ticked = values.get("type") not in ("checkbox", "radio") or "checked" in values
            if ticked:
                unsaid = "on" if values.get("type") == "checkbox" else ""
                self.sent.setdefault(name, []).append(values.get("value", unsaid))
        elif tag == "textarea":
            self.area = name
            self.sent[name] = [""]
        elif tag == "select":
            self.select = name
        elif tag == "option" and "selected" in values:
            self.sent[self.select] = [values["value"]]

    def handle_endtag(self, tag):
        if tag == "textarea":
            self.sent[self.area] = [self.sent[self.area][0].removeprefix("\n")]
            self.area = ""

    def handle_data(self, data):
        if self.area:
            self.sent[self.area][0] += data


def as_sent(page: str) -> dict[str, list[str]]:
    """Everything that a page's form would send as it stands, without its CSRF token."""
    form = _Form()
    form.feed(page)
    form.sent.pop("csrfmiddlewaretoken", None)
    return form.sent


def opened(client: Client, address: str) -> dict[str, list[str]]:
    """The form of an address as a person has it open: change what you like and post it."""
    response = client.get(address)
    assert response.status_code == 200
    return as_sent(response.content.decode())


def carried(client: Client, address: str) -> dict[str, str]:
    """Only what tells a second person that the record was changed meanwhile."""
    sent = opened(client, address)
    return {name: unescape(sent[name][0]) for name in ("version", "seen")}
