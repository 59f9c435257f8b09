"""Pages as a browser uses them: a form is opened, filled in and sent; what comes back is the promise."""

from __future__ import annotations

import json
from html.parser import HTMLParser
from typing import Any


class Forms(HTMLParser):
    """The forms of a page: where they go, and what would be sent if nobody touched them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.forms: list[dict[str, Any]] = []
        self.select = self.area = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        have = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.forms.append({"action": have.get("action", ""), "method": have.get("method", "get"), "fields": {}})
            return
        if not self.forms:
            return
        fields, name = self.forms[-1]["fields"], have.get("name", "")
        if tag == "input" and name:
            kind = have.get("type", "text")
            if kind in ("checkbox", "radio"):
                if "checked" in have:
                    fields[name] = have.get("value", "on")
            elif kind not in ("submit", "button", "file", "image"):
                fields[name] = have.get("value", "")
        elif tag == "textarea" and name:
            self.area, fields[name] = name, ""
        elif tag == "select" and name:
            self.select = name
        elif tag == "option" and self.select and ("selected" in have or self.select not in fields):
            fields[self.select] = have.get("value", "")

    def handle_data(self, data: str) -> None:
        if self.area and self.forms:
            fields = self.forms[-1]["fields"]
            fields[self.area] = (fields[self.area] + data).removeprefix("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self.area = ""
        elif tag == "select":
            self.select = ""


def browser() -> Any:
    """A browser on this machine. A fault in a view comes back as its page, not as an exception."""
    from django.test import Client

    return Client(SERVER_NAME="localhost", raise_request_exception=False)


def tell(**words: Any) -> None:
    """What the child has to say to the harness, as one JSON object."""
    print(json.dumps(words), flush=True)


def send(address: str, having: str, **changes: str) -> None:
    """Open the page, fill in the form that has a field of that name, send it, and tell what came back."""
    client = browser()
    page = client.get(address)
    forms = [f for f in Forms(page.content.decode()).forms if having in f["fields"] and f["method"].lower() == "post"]
    if page.status_code != 200 or not forms:
        tell(acked=False, status=page.status_code, words="the page has no such form")
        return
    answer = client.post(forms[0]["action"] or address, {**forms[0]["fields"], **changes})
    tell(acked=answer.status_code == 302, status=answer.status_code, to=answer.headers.get("Location", ""))


def press(address: str, **fields: str) -> None:
    """Send a form that is only a button."""
    answer = browser().post(address, fields)
    tell(acked=answer.status_code == 302, status=answer.status_code)


def act(**body: Any) -> None:
    """An act of the review."""
    answer = browser().post("/review/act", json.dumps(body), content_type="application/json")
    done = answer.status_code == 200 and bool(answer.json().get("done"))
    tell(acked=done, status=answer.status_code, word=answer.json().get("word") if done else None)


def bring(data: bytes) -> None:
    """Bring a field form's file home."""
    from django.core.files.uploadedfile import SimpleUploadedFile

    answer = browser().post("/rounds/home/", {"file": SimpleUploadedFile("visits.json", data)})
    tell(acked=answer.status_code == 200 and b"Visits:" in answer.content, status=answer.status_code)
