"""The one exception tree.

SatcheckError
├── UsageError            the call is wrong: an unknown fibre, a folder that cannot be written
├── PhotoError            one photo cannot be read; the others go on
├── CalibrationError      a calibration file is damaged, or of a newer schema
├── TableError            a table of labelled parts has a bad row
└── LedgerError           a ledger cannot be opened, read or written

Every message says what is wrong, where, and what is allowed. A face turns them into one line and
an exit status. A photo that was read but cannot be judged is not an error: see ``flags``.
"""


class SatcheckError(Exception):
    """Base of everything that satcheck raises on purpose."""


class UsageError(SatcheckError):
    """The call itself is wrong."""


class PhotoError(SatcheckError):
    """One photo cannot be read."""

    def __init__(self, name: str, problem: str, allowed: str) -> None:
        super().__init__(f"{name}: {problem}; {allowed}")
        self.name, self.problem, self.allowed = name, problem, allowed

    def __reduce__(self) -> tuple[type["PhotoError"], tuple[str, str, str]]:
        """Let it pass from one process to another."""
        return PhotoError, (self.name, self.problem, self.allowed)


class CalibrationError(SatcheckError):
    """A calibration cannot be used."""

    def __init__(self, name: str, problem: str, allowed: str) -> None:
        super().__init__(f"{name}: {problem}; {allowed}")
        self.name = name


class TableError(SatcheckError):
    """A row of a table cannot be used."""

    def __init__(self, name: str, line: int, problem: str, allowed: str) -> None:
        super().__init__(f"{name}, line {line}: {problem}; {allowed}")
        self.name = name
        self.line = line


class LedgerError(SatcheckError):
    """A ledger cannot be opened, read or written; what it holds is not harmed."""

    def __init__(self, name: str, problem: str) -> None:
        super().__init__(f"{name}: {problem}")
        self.name = name
