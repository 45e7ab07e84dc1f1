"""The home's own file: who runs it, and on whose clock its week begins."""

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

MAIL = ("alert_mail_server", "alert_mail_from", "alert_mail_to")
ENTRIES = ("operator", "time_zone", "open_weeks", "backup_folder", "backups_kept", *MAIL)
COUNTS = {"open_weeks": 520, "backups_kept": 520}
"""The entries that are whole numbers from 1, with the most each may be."""
LONGEST_NAME = 60

TEMPLATE = """\
# Whose home this is.  Save the file and run 'ringland week' again.

# The operator of every dock and hull whose records name no other.
operator = "our fleet"

# The clock by which the week begins, Monday at 00:00, and which the pages show, by its name in
# the time-zone database, e.g. "America/New_York" or "Pacific/Auckland".
time_zone = "{time_zone}"

# Weeks whose pages lie open in site/.  Older ones are folded up in weeks/ and unfold when
# 'ringland open --as-of' asks for them.
open_weeks = 4

# A folder outside this home, best on another disk or a stick, that gets a backup at the end of
# every week; the newest of them, as many as backups_kept, stay.  Between single quotes, e.g.
# 'E:\\ringland backups' or '/media/stick/ringland'.  Empty: none is made.
backup_folder = ''
backups_kept = 8

# Alerts of the dockside server lie as files in dockside/alerts.  To have them mailed as well, name
# the shop's own mail server ('mail.shop.lan:25'), from whom and to whom.  Empty: nothing is sent.
alert_mail_server = ''
alert_mail_from = ''
alert_mail_to = ''
"""


_ADDRESS = re.compile(r"([^@\s,;<>\"]{1,60}@[^@\s,;<>\"]{1,60})?")
_MAIL_TEXT = {
    "alert_mail_server": re.compile(r"([A-Za-z0-9.-]{1,80}(:[0-9]{1,5})?)?"),
    "alert_mail_from": _ADDRESS,
    "alert_mail_to": _ADDRESS,
}
_MAIL_FORM = {
    "alert_mail_server": "a name and port as 'mail.shop.lan:25'",
    "alert_mail_from": "one address as 'dock@shop.lan'",
    "alert_mail_to": "one address as 'olga@shop.lan'",
}


class HomeFileError(ValueError):
    """The home's file does not say what it must; the message names file, entry and remedy."""


@dataclass(frozen=True)
class HomeFacts:
    """What the home's file says."""

    operator: str = "our fleet"
    time_zone: str = "UTC"
    open_weeks: int = 4
    backup_folder: str = ""
    backups_kept: int = 8
    alert_mail_server: str = ""
    alert_mail_from: str = ""
    alert_mail_to: str = ""

    @property
    def zone(self) -> ZoneInfo:
        """The zone whose Monday begins the week."""
        return ZoneInfo(self.time_zone)


def read_home_file(file: str, text: str) -> HomeFacts:
    """What a home's file says; an entry it leaves out keeps the project's value.

    Raises:
        HomeFileError: the text is no TOML, or an entry is unknown or cannot be.
    """
    try:
        entries = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise HomeFileError(
            f"{file}: not valid TOML: {error}. Put every value between double quotes, and one "
            f"with a \\ in it between single ones."
        ) from error
    for name, value in entries.items():
        if name not in ENTRIES:
            raise HomeFileError(
                f"{file}: there is no entry '{name}'. Known are: {', '.join(ENTRIES)}."
            )
        if name in COUNTS:
            if type(value) is not int or not 1 <= value <= COUNTS[name]:
                raise HomeFileError(
                    f"{file}: {name} is {value!r}; write a whole number from 1 to "
                    f"{COUNTS[name]}, without quotes."
                )
        elif name == "backup_folder":
            if not isinstance(value, str) or (value and not Path(value).is_absolute()):
                raise HomeFileError(
                    f"{file}: backup_folder is {value!r}; write a whole path between single "
                    f"quotes, e.g. 'E:\\backups' or '/media/stick', or '' for none."
                )
        elif name in MAIL:
            if not isinstance(value, str) or not _MAIL_TEXT[name].fullmatch(value):
                raise HomeFileError(
                    f"{file}: {name} is {value!r}; write {_MAIL_FORM[name]}, or '' for none."
                )
        elif not isinstance(value, str) or not 0 < len(value.strip()) <= LONGEST_NAME:
            raise HomeFileError(
                f"{file}: {name} is {value!r}; write 1 to {LONGEST_NAME} letters between quotes."
            )
    facts = HomeFacts(**entries)
    if facts.alert_mail_to and not (facts.alert_mail_server and facts.alert_mail_from):
        raise HomeFileError(
            f"{file}: alert_mail_to is given without alert_mail_server or alert_mail_from; write "
            f"all three, or '' for alert_mail_to."
        )
    try:
        facts.zone  # noqa: B018 - asked for so that a wrong name is told
    except (KeyError, ValueError, OSError) as error:
        raise HomeFileError(
            f'{file}: time_zone "{facts.time_zone}" is not in the time-zone database; '
            f'write it as "America/New_York", or use "UTC".'
        ) from error
    return facts
