"""The same readers under atheris, which keeps inputs that reach new lines and spoils those again.

`python -m tests.fuzz.guided READER [FOLDER OF INPUTS] [-runs=N] [-max_total_time=SECONDS]`; atheris (Apache licence,
`pip install atheris`) is no dependency of the tests. May import: atheris, this folder.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from random import Random


def main() -> None:
    """Guide one reader; libFuzzer tells of its progress, and ends the process."""
    import atheris

    with atheris.instrument_imports(include=["diag"], enable_loader_override=False):
        from tests.fuzz.readers import READERS, reader_named
    from tests.fuzz.spoiling import spoilt

    if len(sys.argv) < 2 or sys.argv[1] not in READERS:
        sys.exit(f"{__doc__}\nreaders: {', '.join(READERS)}")
    with tempfile.TemporaryDirectory() as folder, reader_named(sys.argv[1], Path(folder)) as reader:

        def spoil(content: bytes, most: int, seed: int) -> bytes:
            return spoilt((content, content, *reader.corpus), reader.words, Random(seed))[:most]

        def take(content: bytes) -> None:
            reader.take(content)

        seeds = Path(folder) / "seeds"
        seeds.mkdir()
        for number, content in enumerate(reader.corpus):
            (seeds / str(number)).write_bytes(content)
        options = ["-max_len=300000", "-timeout=60", "-rss_limit_mb=3000", *sys.argv[2:]]
        atheris.Setup([sys.argv[0], *options, str(seeds)], take, custom_mutator=spoil)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
