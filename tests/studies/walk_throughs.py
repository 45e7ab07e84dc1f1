"""Five walks of a shop through the demo, by the commands it has, with pictures of each step.

`uv run --group dev python -m tests.studies.walk_throughs HOME PICTURES`, HOME a finished demo
home (`ringland demo`), which is copied: Monday morning; a failed test to its answer; a job not
done for three weeks; better fuel at one dock; a hull sold.  Each step prints what the list says
of its hull and takes its page at 390 and 1280 px; a step that does not hold ends the walk.
What was seen stands in `looked_at.md`.
"""

from __future__ import annotations

import csv
import shutil
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from unittest.mock import patch

from click.testing import CliRunner
from playwright.sync_api import Browser, sync_playwright

from pipelines import command_line, job_commands
from pipelines.command_line import main
from tests.outside_tools import ARGUMENTS, CHROMIUM

FIRST = date(2026, 8, 17)
WINDOWS = {"phone": (390, 844), "laptop": (1280, 900)}
FAILED, DRAINED, OUTSIDE = "failed test is answered", "tank is drained", "filled outside"
HELD, DOCK, BLEND = "Do not rent u", "osterfen", "in its dock's tank (AKI)"
FAILED_BEFORE, FAILED_ENGINE = "QM-11", "E-1005"
FAILS_NOW, FAILING_ENGINE = "OF-17", "E-1019"


@dataclass
class Walk:
    """A home being walked through, and where its pictures go."""

    home: Path
    pictures: Path
    browser: Browser
    monday: date = FIRST

    def command(self, *words: str) -> str:
        """What a command prints on the morning of the third day of this week."""
        now = datetime.combine(self.monday + timedelta(days=2), time(8), UTC)
        with ExitStack() as clock:
            for commands in (command_line, job_commands):
                clock.enter_context(patch.object(commands, "_now", lambda: now))
            run = CliRunner().invoke(main, ["--home", str(self.home), *words])
        if run.exit_code:
            raise SystemExit(f"{' '.join(words)}: {run.output[-600:]}")
        return str(run.output)

    def load(self, name: str, text: str) -> None:
        """Load one file as the shop would."""
        file = self.pictures / name
        file.write_text(text, encoding="utf-8")
        self.command("load", str(file))

    def next_week(self) -> None:
        """Work out the week after."""
        self.monday += timedelta(days=7)
        self.command("week", "--as-of", self.monday.isoformat())

    @property
    def site(self) -> Path:
        """The pages of this Monday."""
        return self.home / "site" / self.monday.isoformat()

    def states(self) -> dict[str, dict[str, str]]:
        """The list's table, by hull."""
        with (self.site / "tables" / "hulls.csv").open(encoding="utf-8-sig") as lines:
            return {row["hull"]: row for row in csv.DictReader(lines)}

    def look(self, step: str, path: str, place: str = "") -> None:
        """Pictures of a page at both widths."""
        for name, (width, height) in WINDOWS.items():
            page = self.browser.new_page(viewport={"width": width, "height": height})
            page.goto((self.site / path).as_uri() + place)
            page.wait_for_timeout(300)
            page.screenshot(path=self.pictures / f"{step}-{name}.png")
            page.close()


def held(holds: object, why: str) -> None:
    """End the walk where a step does not hold."""
    if not holds:
        raise SystemExit(f"does not hold: {why}")


def leak_down(engine: str, day: str, *readings: float) -> str:
    """Rows of a warm leak-down, one per cylinder."""
    head = "engine_id,inspected_at,measure,cylinder,state,value,unit,is_warm\n"
    return head + "".join(
        f"{engine},{day}T10:00:00Z,leak_down,{cylinder},measured,{value},%,true\n"
        for cylinder, value in enumerate(readings, start=1)
    )


def told(step: str, hull: str, row: dict[str, str]) -> None:
    """One line of the walk."""
    print(f"{step}: {hull}: {row['state']} [{row['do']}; {row['cost of doing (USD)']}]")


def walk(on: Walk) -> None:
    """The five stories in one season, each step told."""
    now = on.states()
    first = next(iter(now))
    undone = next(hull for hull, row in now.items() if DRAINED in row["state"])
    sold = next(hull for hull in now if hull not in (undone, FAILED_BEFORE, FAILS_NOW))
    filled = next(hull for hull, row in now.items() if OUTSIDE in row["state"] and is_rentable(row)
                  and row["dock"] == DOCK)  # fmt: skip
    for step, hull in (("1 Monday", first), ("2 failed", FAILED_BEFORE), ("2 well", FAILS_NOW),
                       ("3 not done", undone), ("4 fuel", filled), ("5 sold", sold)):  # fmt: skip
        told(step, hull, now[hull])
    held(FAILED in now[FAILED_BEFORE]["state"], "a failed test holds its hull")
    held(FAILED not in now[FAILS_NOW]["state"], "a hull without a failed test is not held by one")
    on.look("1-monday-list", "index.html")
    on.look("1-monday-hull", f"hulls/{first}.html")
    on.look("2-failed-before", f"hulls/{FAILED_BEFORE}.html")
    on.look("4-fuel-before", "fuel/index.html")
    on.look("4-fuel-hull-before", f"hulls/{filled}.html")

    on.load("inspections-passed.csv", leak_down(FAILED_ENGINE, "2026-08-19", 6, 7, 6, 8))
    on.load("inspections-failed.csv", leak_down(FAILING_ENGINE, "2026-08-18", 6, 34, 7, 6))
    on.load("pump_outs.csv", "dock_id,pumped_at,why\n"
            f"{DOCK},2026-08-22T06:00:00Z,emptied for better fuel\n")  # fmt: skip
    on.load("deliveries-better.csv", "dock_id,delivered_at,volume_l,octane_aki,price_per_l\n"
            f"{DOCK},2026-08-22T12:00:00Z,3000,93,0.98\n")  # fmt: skip
    on.load("corrections-sold.csv",
            "record_kind,record_key,change,field,new_value,reason,recorded_at\n"
            f"hulls,{sold},corrected,out_of_service_at,2026-08-20T10:00:00Z,sold,"
            "2026-08-20T10:00:00Z\n")  # fmt: skip

    on.next_week()
    was, now = now, on.states()
    for step, hull in (("2 answered", FAILED_BEFORE), ("2 fails", FAILS_NOW),
                       ("3 week 2", undone), ("4 better", filled)):  # fmt: skip
        told(step, hull, now[hull])
    held(FAILED not in now[FAILED_BEFORE]["state"], "every cylinder passed frees the hull")
    held(FAILED in now[FAILS_NOW]["state"], "one cylinder that failed holds the hull")
    held(was[undone]["state"][:13] == now[undone]["state"][:13] == HELD, "a must not done holds")
    held(OUTSIDE not in now[filled]["state"], "a dock that holds enough is filled at")
    held(float(now[filled][BLEND]) > float(was[filled][BLEND]), "the blend is better")
    outside = [
        sum(OUTSIDE in row["state"] and row["dock"] == DOCK for row in rows.values())
        for rows in (was, now)
    ]
    cost = [
        sum(float(row["cost of doing (USD)"]) for row in rows.values() if row["dock"] == DOCK)
        for rows in (was, now)
    ]
    print(f"4 {DOCK}: filled outside {outside[0]}, then {outside[1]} hulls; doing {cost} USD")
    held(outside[1] < outside[0], "fewer hulls are filled outside")
    held(sold not in now, "a hull sold is listed no more")
    held(f"{sold}/" not in on.command("jobs"), "a hull sold has no open job")
    on.look("2-failed-answered", f"hulls/{FAILED_BEFORE}.html")
    on.look("2-fails-now", f"hulls/{FAILS_NOW}.html")
    on.look("3-undone-week-2", f"hulls/{undone}.html")
    on.look("4-fuel-after", "fuel/index.html")
    on.look("4-fuel-hull-after", f"hulls/{filled}.html")
    on.look("4-fuel-list", "index.html", f"#dock={DOCK}")
    on.look("5-sold-list", "index.html")

    on.load("inspections-again.csv", leak_down(FAILING_ENGINE, "2026-08-25", 6, 8, 7, 6))
    on.next_week()
    now = on.states()
    told("2 answered", FAILS_NOW, now[FAILS_NOW])
    told("3 week 3", undone, now[undone])
    held(FAILED not in now[FAILS_NOW]["state"], "every cylinder passed frees the hull")
    held(now[undone]["state"].startswith(HELD), "a must not done holds")
    on.look("2-fails-answered", f"hulls/{FAILS_NOW}.html")
    on.look("3-undone-week-3", f"hulls/{undone}.html")
    on.look("3-undone-list", "index.html")


def is_rentable(row: dict[str, str]) -> bool:
    """Whether a hull may be rented on a condition."""
    return row["state"].startswith("Rent only")


@contextmanager
def walking(home: Path, pictures: Path) -> Iterator[Walk]:
    """A copy of the home to walk through."""
    copy = pictures / "home"
    shutil.copytree(home, copy)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield Walk(copy, pictures, browser)
        browser.close()


if __name__ == "__main__":
    target = Path(sys.argv[2])
    target.mkdir(parents=True, exist_ok=True)
    with walking(Path(sys.argv[1]), target) as on:
        walk(on)
