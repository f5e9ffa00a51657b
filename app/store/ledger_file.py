"""The file of a ledger on SQLite, watched: an open file can be written to long after its name is gone."""

from pathlib import Path
from typing import NamedTuple

from app.problems import StoreUnavailable

WRITE_AHEAD = "-wal"
GONE = (
    "{file} was removed or replaced while this process had it open. What comes from now on would be lost with it, so"
    " nothing is taken: put the file back with its companions, or stop this process and start it on the other one"
)


class _Identity(NamedTuple):
    """A file whatever its name: device and number on it."""

    device: int
    inode: int


class LedgerFile:
    """A ledger's file, which may not exist yet; once it is `opened` it has to stay the same one."""

    def __init__(self, path: Path) -> None:
        """Take where it is; nothing is opened."""
        self.path = path
        self._identity: _Identity | None = None
        self._write_ahead = False

    @property
    def absent(self) -> bool:
        """Whether there is no file yet; one that was opened and is gone is not absent but missing."""
        return self._identity is None and not self.path.exists()

    def opened(self, *, write_ahead: bool) -> None:
        """Remember the file that is there as the one that is open, and whether its changes go to its companion first.

        Raises
        ------
        StoreUnavailable
            If it is gone already.
        """
        self._identity, self._write_ahead = self._found(), write_ahead
        self.check()

    def check(self, *, in_transaction: bool = False) -> None:
        """Refuse a file that is not the one that was opened.

        The companion is looked for `in_transaction` only: it is there then, and may be gone before and after.

        Raises
        ------
        StoreUnavailable
            If the file was removed or replaced, or its companion was removed.
        """
        missing = in_transaction and self._write_ahead and not Path(f"{self.path}{WRITE_AHEAD}").exists()
        if missing or self._identity is None or self._found() != self._identity:
            raise StoreUnavailable(GONE.format(file=self.path))

    def _found(self) -> _Identity | None:
        try:
            found = self.path.stat()
        except OSError:
            return None
        return _Identity(found.st_dev, found.st_ino)
