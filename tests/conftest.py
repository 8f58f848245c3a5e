"""What tests keep for the next start goes to a folder of their own, never to the user's."""

import atexit
import os
import shutil
import tempfile

if "DIAG_CACHE" not in os.environ:
    folder = tempfile.mkdtemp(prefix="diag-cache-")
    os.environ["DIAG_CACHE"] = folder
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
