"""Sheets and pages: results become plain records, and those become text for people or JSON for programs.

`words` holds what people read. May import: every room below, and rich, which nothing else imports.
What is offered stands in `__init__.pyi`; each name is imported when it is first asked for, so that a command loads only
the pages that it prints.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
