"""Alerts as files, and as mail only where the home's file says so."""

from datetime import timedelta
from email.message import EmailMessage
from pathlib import Path

import pytest

from pipelines.dockside.alerts_out import SENT_FOR, by_mail, send_out
from pipelines.home import Home
from pipelines.home_file import HomeFacts, HomeFileError, read_home_file
from ringland.dockside.alerts import Alert
from tests.dockside.small_shop import NOW

WEAK = Alert("fuel; A1; x", NOW - timedelta(hours=1), "A1", "87.0 AKI was filled.")
MAIL = """alert_mail_server = "mail.shop.lan:25"
alert_mail_from = "dock@shop.lan"
alert_mail_to = "olga@shop.lan"
"""


class Sent(list[EmailMessage]):
    def __call__(self, _facts: HomeFacts, message: EmailMessage) -> None:
        self.append(message)


def test_each_alert_is_a_file_once_and_nothing_is_sent_unasked(tmp_path: Path) -> None:
    home, sent = Home(tmp_path).prepare(), Sent()

    (path,) = send_out(home, [WEAK], NOW, sent)

    assert send_out(home, [WEAK], NOW, sent) == []
    assert "A1" in path.name
    assert path.read_text("utf-8").endswith("87.0 AKI was filled.\n")
    assert sent == []


def test_an_alert_is_mailed_once_and_tried_again_when_it_did_not_go(tmp_path: Path) -> None:
    home, sent = Home(tmp_path).prepare(), Sent()
    home.own_file.write_text(MAIL, encoding="utf-8")

    def out_of_reach(_facts: HomeFacts, _message: EmailMessage) -> None:
        raise ConnectionRefusedError

    with pytest.raises(ConnectionRefusedError):
        send_out(home, [WEAK], NOW, out_of_reach)
    send_out(home, [WEAK], NOW, sent)
    send_out(home, [WEAK], NOW, sent)

    (message,) = sent
    assert (message["From"], message["To"]) == ("dock@shop.lan", "olga@shop.lan")
    assert message["Subject"] == "A1: look before it is rented"
    assert "87.0 AKI was filled." in message.get_content()


def test_what_is_old_is_not_sent_any_more(tmp_path: Path) -> None:
    home, old = Home(tmp_path).prepare(), WEAK.at - SENT_FOR

    assert send_out(home, [Alert("x", old, "A1", "old")], NOW, Sent()) == []


def test_a_hulls_name_begins_no_head_and_no_folder(tmp_path: Path) -> None:
    home, sent = Home(tmp_path).prepare(), Sent()
    home.own_file.write_text(MAIL, encoding="utf-8")
    hostile = Alert("x", WEAK.at, "../A1\r\nBcc: all@shop.lan", "words")

    (path,) = send_out(home, [hostile], NOW, sent)

    assert path.parent == home.dockside / "alerts"
    assert sent[0]["Bcc"] is None


def test_a_mail_server_out_of_reach_is_an_error_that_is_told(tmp_path: Path) -> None:
    facts = read_home_file("home.toml", MAIL.replace("mail.shop.lan:25", "127.0.0.1:1"))

    with pytest.raises(OSError, match="refused"):
        by_mail(facts, EmailMessage())


@pytest.mark.parametrize("text", [
    'alert_mail_to = "olga@shop.lan"', 'alert_mail_server = "http://x"', "alert_mail_to = 3",
    'alert_mail_to = "a@b, c@d"', 'alert_mail_from = "a@b\\nBcc: c@d"',
])  # fmt: skip
def test_a_wrong_entry_is_told_with_its_remedy(text: str) -> None:
    with pytest.raises(HomeFileError, match="alert_mail"):
        read_home_file("home.toml", text)
