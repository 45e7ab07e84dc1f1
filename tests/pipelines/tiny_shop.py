"""Two hulls of a shop that begins: little to work on, so that its week takes seconds."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

WEEKS = ("2026-06-01", "2026-06-29", "2026-07-06")
FIRST_RIDE = datetime(2026, 5, 4, 9, tzinfo=UTC)


def tiny_files() -> dict[str, str]:
    """The record files by name: two engines, a ride a day each, a fill every third."""
    came = "2026-05-01T00:00:00Z"
    rides = ["hull_id,started_at,ended_at,running_h,full_throttle_share"]
    fills = ["hull_id,filled_at,volume_l,source,octane_aki"]
    for day in range(70):
        for hull in ("A1", "A2"):
            start = FIRST_RIDE + timedelta(days=day)
            rides.append(f"{hull},{start:{STAMP}},{start + timedelta(hours=2):{STAMP}},1.5,0.2")
            if day % 3 == 0:
                before = start - timedelta(hours=1)
                fills.append(f"{hull},{before:{STAMP}},40,outside,91")
    return {
        "docks.csv": "dock_id,time_zone\nnorth,UTC\n",
        "hulls.csv": "hull_id,dock_id,tank_l,in_service_at\n"
        f"A1,north,70,{came}\nA2,north,70,{came}\n",
        "engines.csv": "engine_id,family,induction,cylinders,"
        "first_recorded_at,first_recorded_engine_h\n"
        f"E1,S3,supercharged,3,{came},0\nE2,S3,supercharged,3,{came},0\n",
        "installations.csv": f"engine_id,hull_id,installed_at\nE1,A1,{came}\nE2,A2,{came}\n",
        "piston_sets.csv": "piston_set_id,engine_id,fitted_at,fitted_engine_h,piston_type,"
        "supplier_grade,reason\n"
        f"P1,E1,{came},0,cast,original,factory\nP2,E2,{came},0,cast,original,factory\n",
        "sessions.csv": "\n".join(rides) + "\n",
        "fills.csv": "\n".join(fills) + "\n",
    }


STAMP = "%Y-%m-%dT%H:%M:%SZ"


def write_tiny(folder: Path) -> Path:
    """The files in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in tiny_files().items():
        (folder / name).write_text(text)
    return folder
