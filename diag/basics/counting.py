"""A count that knows the word beside it, so that nobody reads of '1 cases'. May import: the standard library only."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Counted", "counted"]


@dataclass(frozen=True)
class Counted:
    """A number as it is printed. A sentence says what stands beside it, for one and for all others:
    `"{count:case was|cases were} left out"` gives '1 case was left out', '0 cases were left out'."""

    printed: str

    def __format__(self, form: str) -> str:
        """Raises ValueError for a form that is not `for one|for others`."""
        if not form:
            return self.printed
        one, bar, others = form.partition("|")
        if not bar:
            raise ValueError(f"'{form}' says nothing for more than one; write it as 'case|cases'")
        return f"{self.printed} {one if self.printed == '1' else others}"

    def __str__(self) -> str:
        return self.printed


def counted(number: float | str) -> Counted:
    """A count; thousands are marked, and what is text already stays as it is: `1,250`, `1.5`."""
    if isinstance(number, str):
        return Counted(number)
    return Counted(f"{number:,}" if isinstance(number, int) else f"{number:,.10g}")
