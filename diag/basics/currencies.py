"""Smallest units of currencies. May import: the standard library only."""

from __future__ import annotations

__all__ = ["minor_digits"]

# ISO 4217: currencies whose smallest unit is not a hundredth (from memory).
_DIGITS = dict.fromkeys(
    ("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF"), 0
) | dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3)


def minor_digits(currency: str) -> int:
    """Decimals of a currency's smallest unit."""
    return _DIGITS.get(currency, 2)
