"""Money as a type: an amount with its currency, so that crowns are never added to euros. May import: `diag.basics`."""

from __future__ import annotations

from msgspec import Struct

from diag.basics import UsageError

__all__ = ["Money"]


class Money(Struct, frozen=True):
    """An amount in a currency (ISO 4217). Before tax unless the name of the field says otherwise."""

    amount: float
    currency: str

    def __add__(self, other: Money) -> Money:
        """Sum of two amounts in one currency."""
        return Money(self.amount + self._amount_of(other), self.currency)

    def __sub__(self, other: Money) -> Money:
        """Difference of two amounts in one currency."""
        return Money(self.amount - self._amount_of(other), self.currency)

    def __mul__(self, factor: float) -> Money:
        """So many times the amount."""
        return Money(self.amount * factor, self.currency)

    def __str__(self) -> str:
        return f"{self.amount:,.2f} {self.currency}"

    def _amount_of(self, other: Money) -> float:
        if other.currency != self.currency:
            raise UsageError(f"{self.currency} and {other.currency} cannot be reckoned together; use one currency")
        return other.amount
