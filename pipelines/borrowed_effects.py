"""Effects that a home borrows from the other operators of its network.

A home keeps a file for each Monday whose records were shared, and its weeks from then on borrow
the newest; a week before does not know of it.
"""

from pipelines.home import Home
from pipelines.whole_files import write_whole
from ringland.risk.shared_effects import SharedEffects, read_shared_effects, shared_effects_text


def borrow_effects(home: Home, file: str, text: str) -> SharedEffects:
    """Put shared effects into a home, in the place of those from the same Monday's records.

    Args:
        home: whose weeks borrow them.
        file: what messages call the file.
        text: its content.

    Raises:
        SharedEffectsError: it cannot be used; the home is as it was.
    """
    shared = read_shared_effects(file, text)
    home.shared_effects.mkdir(exist_ok=True)
    kept = shared_effects_text(shared).encode()
    write_whole(home.shared_effects / f"{shared.monday}.json", kept)
    return shared


def give_back(home: Home) -> list[str]:
    """Borrow nothing any more; the Mondays whose effects were there."""
    files = sorted(home.shared_effects.glob("*.json"))
    for file in files:
        file.unlink()
    return [file.stem for file in files]


def borrowed(home: Home, monday: str) -> SharedEffects | None:
    """The newest effects in a home from records no later than a Monday; None: there are none.

    Raises:
        SharedEffectsError: the file was changed and cannot be used.
    """
    mondays = (file.stem for file in home.shared_effects.glob("*.json"))
    newest = max((one for one in mondays if one <= monday), default=None)
    if newest is None:
        return None
    file = home.shared_effects / f"{newest}.json"
    return read_shared_effects(str(file), file.read_text(encoding="utf-8", errors="replace"))
