"""What the page is served with. May import: the standard library."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

__all__ = ["PORT", "Settings"]

PORT = 8757
MEGABYTE = 1 << 20


@dataclass(frozen=True)
class Settings:
    """How the page is served.

    `book`: the book of cases (see `diag.store.book_place`). `network`: whether it may be reached from other machines,
    by a pairing code. `names`: further host names under which it is reached. `certificate` and `key`: files for HTTPS.
    `workers`: processes that reckon what must be there at once; others, one fewer, work out what may take longer; 0:
    none, everything in this process (for tests). `upload_most` and `form_most` are bytes.
    `entry_wait_s`: how long an entry waits for it to be known whether it can be, before it is taken all the same;
    `page_wait_s`: how long a page waits for what it shows, before it is shown without and asks for it by itself.
    `log_kept_s`: how long an uploaded log is kept after it was last read, for the case that its columns are to be said.
    """

    book: str | None = None
    knowledge: Path | None = None
    overlays: tuple[Path, ...] = ()
    address: str = "127.0.0.1"
    port: int = PORT
    network: bool = False
    names: tuple[str, ...] = ()
    certificate: Path | None = None
    key: Path | None = None
    by: str = ""
    workers: int = max(1, min(4, os.cpu_count() or 2))
    upload_most: int = 48 * MEGABYTE
    form_most: int = MEGABYTE // 4
    entry_wait_s: float = 0.3
    page_wait_s: float = 0.15
    log_kept_s: float = 900.0
    pages_per_second: float = 25.0
    pages_at_once: int = 150

    @property
    def secure(self) -> bool:
        """Whether it is served over HTTPS."""
        return self.certificate is not None
