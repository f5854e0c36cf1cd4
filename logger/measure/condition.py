"""A condition with a hold-off before it is raised and another before it is cleared."""

from __future__ import annotations

from logger.measure.ticks import Severity, Signal


class Condition:
    """Counts seconds: raised after `on_after_s` in a row, cleared after `off_after_s` in a row; says each once."""

    def __init__(self, code: str, severity: Severity, message: str, on_after_s: int = 1, off_after_s: int = 5):
        self.code, self.severity, self.message = code, severity, message
        self._on_after_s, self._off_after_s = on_after_s, off_after_s
        self._for = 0
        self.active = False

    def update(self, raise_it: bool, clear_it: bool, message: str | None = None) -> list[Signal]:
        """One second: whether it speaks for raising and whether for clearing; neither keeps things as they are."""
        speaks = clear_it if self.active else raise_it
        self._for = self._for + 1 if speaks else 0
        if self._for < (self._off_after_s if self.active else self._on_after_s):
            return []
        self.active, self._for = not self.active, 0
        self.message = message or self.message
        return [Signal(self.code, self.severity, self.active, self.message)]
