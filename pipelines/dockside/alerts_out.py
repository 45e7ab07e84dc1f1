"""Alerts out of the server: a file each, and a mail through the shop's own server if it says so.

Without `alert_mail_to` in the home's file nothing is sent to anybody.  A file is written before
its mail goes; a mail that did not go is tried again with the next look.
"""

import hashlib
import json
import re
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from email.message import EmailMessage
from pathlib import Path
from smtplib import SMTP
from typing import TYPE_CHECKING

from pipelines.home import Home
from pipelines.home_file import HomeFacts
from pipelines.whole_files import write_whole

if TYPE_CHECKING:
    from ringland.dockside.alerts import Alert
    from ringland.dockside.ground import Ground
    from ringland.dockside.kept_parts import KeptParts

SHOWN_FOR, SENT_FOR = timedelta(days=7), timedelta(days=2)
"""How long before the newest list an alert that holds may have come about to stand on the board,
and how late it is still sent out."""
FOLDER, MAILED = "alerts", "mailed.jsonl"
_TRIES_S = 20.0

Send = Callable[[HomeFacts, EmailMessage], None]


def alerts_now(
    home: Home,
    ground: "Ground",
    now: datetime,
    listed: datetime | None = None,
    kept: "KeptParts | None" = None,
) -> "list[Alert]":
    """The alerts that hold, oldest first, from some days before the newest list knew the records.

    What came about earlier that list says itself.
    """
    from ringland.bench.bench_limits import load_bench_limits  # noqa: PLC0415 - imports SciPy
    from ringland.dockside.alerts import alerts  # noqa: PLC0415
    from ringland.settings.assumptions import load_assumptions  # noqa: PLC0415

    settings, limits = load_assumptions(home.settings), load_bench_limits(home.bench_limits)
    since = min(now, listed or now) - SHOWN_FOR
    return alerts(ground, since, now, settings, limits, listed=listed, kept=kept)


def by_mail(facts: HomeFacts, message: EmailMessage) -> None:
    """Hand a mail to the shop's own server.

    Raises:
        OSError: it is out of reach or does not take it.
    """
    host, _, port = facts.alert_mail_server.partition(":")
    with SMTP(host, int(port or 25), timeout=_TRIES_S) as server:
        server.ehlo_or_helo_if_needed()
        if server.has_extn("starttls"):
            server.starttls()
        server.send_message(message)


def send_out(
    home: Home, held: "Sequence[Alert]", now: datetime, send: Send = by_mail
) -> list[Path]:
    """Write a file for each new alert, and mail what was not mailed; the files written.

    Raises:
        OSError: a mail did not go; the files are written all the same.
    """
    folder, facts = home.dockside / FOLDER, home.facts()
    late = [one for one in held if one.at >= now - SENT_FOR]
    written = []
    for one in late:
        path = folder / _name(one)
        if not path.exists():
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            write_whole(path, f"{one.at.isoformat()} {one.hull_id}\n{one.words}\n".encode())
            written.append(path)
    if facts.alert_mail_to:
        mailed = folder / MAILED
        told = mailed.read_text(encoding="utf-8") if mailed.exists() else ""
        done = {json.loads(line) for line in told.splitlines()}
        for one in late:
            if one.id not in done:
                send(facts, _mail(facts, one))
                with mailed.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(one.id) + "\n")
    return written


def _name(one: "Alert") -> str:
    letters = re.sub(r"[^A-Za-z0-9]+", "-", one.hull_id).strip("-")[:30]
    digest = hashlib.sha256(one.id.encode()).hexdigest()[:8]
    return f"{one.at:%Y-%m-%dT%H%M}-{letters}-{digest}.txt"


def _mail(facts: HomeFacts, one: "Alert") -> EmailMessage:
    message = EmailMessage()
    message["From"], message["To"] = facts.alert_mail_from, facts.alert_mail_to
    message["Subject"] = f"{' '.join(one.hull_id.split())}: look before it is rented"
    message.set_content(f"{one.hull_id}, {one.at:%Y-%m-%d %H:%M} UTC\n\n{one.words}\n")
    return message
