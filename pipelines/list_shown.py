"""The list in a terminal: a week's, or that of now; shown without what runs the graph."""

from datetime import datetime
from functools import partial

from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from pipelines.home import Home
from pipelines.printable import printable
from pipelines.rooms.listing import WeekListing
from pipelines.shop_week import shop_catalogue
from pipelines.today import todays_list
from ringland.decision.actions.action_catalogue import Catalogue
from ringland.settings.assumptions import load_assumptions
from ringland.words.state_words import STATE_SHORT

console = Console()
if not console.is_terminal:
    console.width = 160  # a file or a pipe is not 80 columns wide

_WIDE = 140
_LEFT_OUT_IF_NARROW = {"Dock", "Range", "Cost"}
_WRAPPED = {"This week", "Do"}


def say(line: str) -> None:
    """One line as it is: what a path or a record holds is no markup and moves no cursor."""
    console.print(escape(printable(line)), soft_wrap=True)


def show_today(home: Home, now: datetime) -> None:
    """The list as of now, and what it moved since the list before."""
    today = todays_list(home, now)
    here = now.astimezone(home.facts().zone)
    show_list(today.listing, f"As of {here:%a %Y-%m-%d %H:%M} ({home.facts().time_zone})")
    if today.from_dock:
        console.print(f"Entries made at the dock counted, not taken in yet: {today.from_dock}.")
    said = f"with the fit of the week of {today.fitted.monday}, whose list stays as it was said"
    if today.moved.is_empty():
        console.print(f"No call has moved since; {said}.")
        return
    console.print(f"Moved since, {said}:")
    words = partial(_words, shop_catalogue(home, load_assumptions(home.settings)))
    for hull, call, action, call_then, action_then in today.moved.iter_rows():
        then = "not on that list" if call_then is None else words(call_then, action_then)
        line = f"  {hull}: {words(call, action)}; before: {then}"
        say(line)


def _words(catalogue: Catalogue, call: str, action: str | None) -> str:
    state = STATE_SHORT.get(call, call.replace("_", " "))
    return state if action is None else f"{state}, {catalogue.short(action)}"


def show_list(listed: WeekListing, title: str) -> None:
    """A list under its title, as wide as the terminal."""
    narrow = console.width < _WIDE
    table = Table(title=title, title_justify="left", box=box.SIMPLE)
    shown = [
        place
        for place, heading in enumerate(listed.headings)
        if not (narrow and heading in _LEFT_OUT_IF_NARROW)
    ]
    for place in shown:
        heading = listed.headings[place]
        # Only sentences may run over several lines: a cut name or price tells nothing.
        table.add_column(heading, no_wrap=not narrow and heading not in _WRAPPED, overflow="fold")
    for row in listed.rows:
        table.add_row(*(escape(printable(row[place])) for place in shown))
    console.print(table)
    console.print("A low-risk line is never clearance to run.")
