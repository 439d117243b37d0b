"""The errors a user can meet, as one tree.

    HarpkeysError
    ├── FileError      the file cannot be opened, or is too large, or is not what its name says
    ├── ScoreError     the file is XML, but not a score that can be read
    ├── PartError      no such part, or several and none chosen
    ├── HarpError      a harp description is wrong
    └── OptionError    an option's value cannot be used

Deep code raises what went wrong and what to do; `located` adds where on the way up; the command line turns
the error into one sentence on standard error and exit code 2.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager


class HarpkeysError(Exception):
    """A mistake or a bad file, told in one sentence.

    Args:
        what: what is wrong, as a clause without a full stop.
        mend: what to do about it, as a clause without a full stop; empty where nothing sensible can be said.
    """

    def __init__(self, what: str, mend: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend
        self.where: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """The whole error as one sentence: where, what and the mend."""
        place = ", ".join(self.where)
        start = f"{place}: {self.what}" if place else self.what
        return f"{start}; {self.mend}." if self.mend else f"{start}."

    def __str__(self) -> str:
        return self.sentence


class FileError(HarpkeysError):
    """The file cannot be opened, is too large, or is not what its name says."""


class ScoreError(HarpkeysError):
    """The file is XML, but not a score that can be read."""


class PartError(HarpkeysError):
    """No such part, or several parts and none chosen."""


class HarpError(HarpkeysError):
    """A harp description is wrong."""


class OptionError(HarpkeysError):
    """An option's value cannot be used."""


@contextmanager
def located(place: str, only: type[HarpkeysError] = HarpkeysError) -> Iterator[None]:
    """Put `place` (a file, a part, a measure) in front of where an error inside the block happened.

    Args:
        place: where.
        only: the kind of error that this place explains; others pass as they are.

    Raises:
        HarpkeysError: the same error, with one more place.
    """
    try:
        yield
    except only as error:
        error.where = (place, *error.where)
        raise
