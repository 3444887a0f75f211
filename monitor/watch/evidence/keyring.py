"""The keys of an installation: one file each in HOME/keys, numbered as the statements that brought them in."""

from __future__ import annotations

from pathlib import Path

from monitor.basis.errors import StoreError
from monitor.seal import keys
from monitor.seal.keys import Epoch, Key, Statement
from monitor.watch.desk import Desk


def key_path(desk: Desk, number: int) -> Path:
    """Where the key of statement `number` (from 1) lies."""
    return desk.settings.home / "keys" / f"seal-ed25519-{number}.pem"


def statements(desk: Desk) -> list[Statement]:
    """What was said of the keys, oldest first; nothing before the first head."""
    return [Statement(*row) for row in desk.store.key_statements()]


def epochs(desk: Desk) -> list[Epoch]:
    """The keys, oldest first; the last one is in use. Raises StoreError where the store contradicts itself."""
    said = statements(desk)
    try:
        return keys.follow(said) if said else []
    except ValueError as exc:
        raise StoreError(
            f"what the store says of the keys does not hold ({exc})",
            where=str(key_path(desk, len(said)).parent),
            mend="Put the store aside unchanged and continue from a backup",
        ) from exc


def key_in_use(desk: Desk, known: list[Epoch]) -> Key:
    """The key of the last of the `known` epochs. Raises StoreError where it is not there or another one is."""
    path = key_path(desk, len(known))
    key = keys.load_key(path)
    if keys.public_of(key) != known[-1].public:
        raise StoreError(
            "it is not the key of this record",
            where=str(path),
            mend="Put the right one back from a backup, or declare it lost: wallclime seal lost --reason TEXT",
        )
    return key


def next_key(desk: Desk, known: list[Epoch]) -> Key:
    """A key to follow the `known` ones: made now, or the one that was made by somebody who then got no further.

    Raises StoreError.
    """
    path = key_path(desk, len(known) + 1)
    try:
        path.parent.mkdir(mode=0o700, exist_ok=True)
    except OSError as exc:
        raise StoreError(
            f"the folder of the keys can't be made ({exc.strerror})",
            where=str(path.parent),
            mend="Let this user write the home",
        ) from exc
    return keys.load_key(path) if path.exists() else keys.make_key(path)


def is_there(desk: Desk, known: list[Epoch]) -> bool:
    """Whether the key in use can be read."""
    try:
        key_in_use(desk, known)
    except StoreError:
        return False
    return True
