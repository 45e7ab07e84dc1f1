"""The pages of the entry forms, and the one that shows what waits on this phone."""

from __future__ import annotations

import json
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from ringland.dockside.forms import CHOICE_LABELS, FORMS, KEYS, Form, fields_of, words_of
from ringland.dockside.roles import KINDS, Person

_MOST_CYLINDERS = 12
_PORTS = ("intake", "exhaust")


def form_page(form: Form, person: Person, token: str, known: dict[str, Any]) -> str:
    """The page of one form; the same page serves every hull, also out of reach."""
    first, each, folded = fields_of(form)
    ports = _PORTS if "port" in form.each else ("",)
    places = [
        (cylinder, port) for cylinder in range(1, _MOST_CYLINDERS + 1) for port in ports
    ] if form.each else []  # fmt: skip
    return _page(
        "write.html.j2", person, token, title=form.title, form=form, first=first, each=each,
        folded=folded, places=places, known=json.dumps(known).replace("<", "\\u003c"),
    )  # fmt: skip


def forms_page(person: Person, token: str) -> str:
    """The list of forms, and what is on this phone."""
    return _page("forms.html.j2", person, token, title="Write down")


def forms_for(person: Person) -> list[Form]:
    """The forms whose records a person writes."""
    return [form for form in FORMS.values() if form.kind in KINDS[person.role]]


def _page(name: str, person: Person, token: str, **told: Any) -> str:
    template = _ENVIRONMENT.get_template(name)
    return template.render(person=person, token=token, forms=forms_for(person), **told)


_ENVIRONMENT = Environment(
    loader=PackageLoader("ringland.dockside"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_ENVIRONMENT.globals.update(
    words_of=words_of, choice_labels=CHOICE_LABELS, keys=json.dumps(KEYS, separators=(",", ":"))
)
