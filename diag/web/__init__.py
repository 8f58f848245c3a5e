"""The page: bay, counter and classroom in a browser, served from this machine; no outside address is ever asked.

`diag serve` starts it. It calls the rooms below and adds words and pictures only; FastAPI, Jinja2 and uvicorn are known
here alone and imported when the page is served. May import: every room below `cli`.
"""

from diag.web.serving import serve
from diag.web.settings import PORT, Settings

__all__ = ["PORT", "Settings", "serve"]
