"""The forms and links of a page, as a browser would send and follow them."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

from typing_extensions import override

Fields = list[tuple[str, str]]


@dataclass(kw_only=True)
class PageForm:
    """One form: where it goes, and its fields as they stand; each choice of a list and button too."""

    method: str
    action: str
    files: bool = False
    fields: Fields = field(default_factory=list)
    choices: dict[str, list[str]] = field(default_factory=dict)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[PageForm] = []
        self.links: list[str] = []
        # Fields may stand outside of their form and name it.
        self.by_id: dict[str, PageForm] = {}
        self.inside: PageForm | None = None
        self.select = ""
        self.area: tuple[PageForm, str] | None = None
        self.text = ""

    @override
    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        known = {name: value or "" for name, value in attrs}
        if tag == "form":
            method, action = known.get("method", "get").upper(), known.get("action", "")
            self.inside = PageForm(method=method, action=action)
            self.forms.append(self.inside)
            self.by_id[known.get("id", "")] = self.inside
        elif tag == "a":
            self.links.append(known.get("href", ""))
        elif tag in {"input", "select", "textarea", "button", "option"}:
            self._field(tag, known)

    def _field(self, tag: str, known: dict[str, str]) -> None:
        form = self.by_id.get(known["form"]) if "form" in known else self.inside
        name = self.select if tag == "option" else known.get("name", "")
        if form is None or not name:
            return
        if tag == "select":
            self.select = name
        elif tag == "textarea":
            self.area, self.text = (form, name), ""
        elif known.get("type") == "file":
            form.files = True
        else:
            _add(form, name, known, chosen=tag in {"button", "option"})

    @override
    def handle_data(self, data: str) -> None:
        self.text += data

    @override
    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.inside = None
        elif tag == "textarea" and self.area:
            form, name = self.area
            form.fields.append((name, self.text))
            self.area = None


def _add(form: PageForm, name: str, known: dict[str, str], *, chosen: bool) -> None:
    """Add a field; one of several to choose from stands in the form only where it is chosen."""
    value = known.get("value", "")
    if chosen or known.get("type") in {"radio", "checkbox"}:
        form.choices.setdefault(name, []).append(value)
        if not {"checked", "selected"} & known.keys():
            return
    form.fields.append((name, value))


def forms_and_links(page: str) -> tuple[list[PageForm], list[str]]:
    """Return the forms of a page and the addresses that it leads to."""
    reader = _Reader()
    reader.feed(page)
    return reader.forms, reader.links
