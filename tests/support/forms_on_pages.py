"""Forms as a browser finds them on a page, to be sent back as they are or with changes."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any


@dataclass
class FoundForm:
    """One form. values : what a browser would send untouched. boxes : names of what a person can type into."""

    action: str
    method: str
    values: dict[str, list[str]] = field(default_factory=dict)
    boxes: list[str] = field(default_factory=list)
    buttons: list[tuple[str, str, str]] = field(default_factory=list)  # name, value, formaction

    def data(self, **changes: Any) -> dict[str, Any]:
        return {**self.values, **{name: [value] for name, value in changes.items()}}


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[FoundForm] = []
        self.here: FoundForm | None = None
        self.area = self.select = ""
        self.options: list[tuple[str, bool]] = []

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        a = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.here = FoundForm(a.get("action", ""), a.get("method", "get").lower())
            self.forms.append(self.here)
        if self.here is None:
            return
        name, kind = a.get("name", ""), a.get("type", "text")
        if tag == "button":
            self.here.buttons.append((name, a.get("value", ""), a.get("formaction", "")))
        elif tag == "input" and name and "disabled" not in a:
            if kind in ("checkbox", "radio"):
                if "checked" in a:
                    self.here.values.setdefault(name, []).append(a.get("value", "on"))
            elif kind not in ("file", "submit"):
                self.here.values.setdefault(name, []).append(a.get("value", ""))
            if kind in ("text", "number", "search"):
                self.here.boxes.append(name)
        elif tag == "textarea" and name:
            self.area = name
            self.here.values[name] = [""]
            self.here.boxes.append(name)
        elif tag == "select" and name:
            self.select, self.options = name, []
        elif tag == "option" and self.select:
            self.options.append((a.get("value", ""), "selected" in a))

    def handle_data(self, data: str) -> None:
        if self.here is not None and self.area:
            self.here.values[self.area][0] += data

    def handle_endtag(self, tag: str) -> None:
        if self.here is not None and tag == "textarea":
            self.here.values[self.area][0] = self.here.values[self.area][0].removeprefix("\n")
            self.area = ""
        if self.here is not None and tag == "select" and self.select:
            chosen = [value for value, on in self.options if on] or [value for value, _ in self.options[:1]]
            self.here.values[self.select] = chosen
            self.select = ""
        if tag == "form":
            self.here = None


def forms_of(html: str, *, path: str) -> list[FoundForm]:
    """Every form that posts, with its address made whole."""
    reader = _Reader()
    reader.feed(html)
    for form in reader.forms:
        form.action = form.action or path
    return [form for form in reader.forms if form.method == "post"]
