"""Where on the vehicle something is. May import: nothing."""

__all__ = ["Place"]

Place = int | str | None  # a cylinder's number, a bank's letter, or None for the vehicle as a whole
